//! Fault finding: from what a keeper sees to what to check or to do next.
//!
//! Knowledge is data ([`knowledge`]); [`network`] makes probabilities of it, [`prior`] adds the machine's own records,
//! [`next`] picks the next step, [`measured`] lets measurements answer checks, [`learn`] takes confirmed cases in, and [`simulate`] measures what that saves. Formulas,
//! sources and assumptions: docs/FAULTS.md.

pub mod grade;
pub mod knowledge;
pub mod learn;
mod look;
pub mod measured;
pub mod network;
pub mod next;
pub mod prior;
mod read;
mod shipped;
pub mod simulate;

pub use grade::Grade;
pub use knowledge::{Cause, Check, Faults, Remedy, RemedyKind, Symptom, Work};
pub use measured::Measured;
pub use network::{Contradiction, Evidence, Finding, Network, Posterior};
pub use next::{Advice, Answer, Guide, Progress, Step};
pub use prior::{CareUse, Part, Prior, Reason};
pub use shipped::shipped;
