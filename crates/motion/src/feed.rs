//! What each extruder did.

use crate::order::larger;
use crate::report::Filament;
use crate::track::NOTHING;

/// One extruder's filament.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Feed {
    pub(crate) filament: Filament,
    /// The largest that the net ever was, mm.
    peak: f64,
    /// The last delta that was not nothing.
    last: f64,
}

impl Feed {
    #[inline]
    pub(crate) fn push(&mut self, delta: f64) {
        if delta.abs() <= NOTHING {
            return;
        }
        let filament = &mut self.filament;
        filament.net += delta;
        if 0.0 < delta {
            filament.forward += delta;
            self.peak = larger(self.peak, filament.net);
        } else {
            filament.retracted -= delta;
            filament.retractions += u64::from(0.0 <= self.last);
        }
        filament.reversals += u64::from(delta * self.last < 0.0);
        self.last = delta;
    }

    /// Whether it ever moved.
    pub(crate) fn moved(&self) -> bool {
        self.last != 0.0
    }

    /// What is pulled back and not pushed forward again, mm.
    pub(crate) fn retracted_at_end(&self) -> f64 {
        self.peak - self.filament.net
    }
}
