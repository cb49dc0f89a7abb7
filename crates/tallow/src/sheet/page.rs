//! Paper, and how its area is shared out. The style sheet (`sheet.css`) uses the same measures.

use super::measure;

/// The paper that sheets are printed on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Paper {
    /// ISO 216: 210 mm by 297 mm.
    A4,
    /// ANSI/ASME Y14.1 size A: 8.5 in by 11 in.
    Letter,
}

/// Blank edge on every side, mm.
pub(super) const MARGIN_MM: f64 = 10.0;

/// The head of a page: two lines, and the rule below them; mm.
pub(super) const HEAD_MM: f64 = 14.0;

/// The foot of a page: the title block and the code; mm.
pub(super) const FOOT_MM: f64 = 17.0;

/// Left free at the end of every page, so that a rounding never makes another one; mm.
const SLACK_MM: f64 = 1.0;

/// How the type is set.
#[derive(Clone, Copy, Debug)]
pub(super) struct Setting {
    /// Its size, pt.
    pub(super) size_pt: f64,
    /// In how many columns the work stands.
    pub(super) n_columns: usize,
}

/// The settings, tried from the first on: across the page, in columns, in columns shrunk once and shrunk twice. Smaller type
/// is not read at arm's length (judgement).
pub(super) const SETTINGS: [Setting; 4] = [
    Setting { size_pt: 10.0, n_columns: 1 },
    Setting { size_pt: 10.0, n_columns: 2 },
    Setting { size_pt: 9.0, n_columns: 2 },
    Setting { size_pt: 8.0, n_columns: 2 },
];

/// What lies between two columns, em.
const GUTTER: f64 = 2.0;

/// A point in mm.
const PT_MM: f64 = 25.4 / 72.0;

impl Paper {
    /// Width and height, mm.
    pub(super) fn mm(self) -> [f64; 2] {
        match self {
            Paper::A4 => [210.0, 297.0],
            Paper::Letter => [215.9, 279.4],
        }
    }

    /// Its name in a style sheet.
    pub(super) fn css(self) -> &'static str {
        match self {
            Paper::A4 => "A4",
            Paper::Letter => "letter",
        }
    }

    /// How high the part of a page within its edges is, mm.
    pub(super) fn inner_mm(self) -> f64 {
        self.mm()[1] - 2.0 * MARGIN_MM - SLACK_MM
    }
}

/// An area to be filled with text in one size of type.
#[derive(Clone, Copy, Debug)]
pub(super) struct Area {
    /// Width, em.
    pub(super) width: f64,
    /// Height, em.
    pub(super) height: f64,
}

/// The areas of a page.
#[derive(Clone, Copy, Debug)]
pub(super) struct Areas {
    /// All between head and foot.
    pub(super) page: Area,
    /// One column of it.
    pub(super) column: Area,
    /// How many columns it has.
    pub(super) n_columns: usize,
}

impl Setting {
    /// The areas of a paper's pages.
    pub(super) fn areas(self, paper: Paper) -> Areas {
        let em = self.size_pt * PT_MM;
        let width = (paper.mm()[0] - 2.0 * MARGIN_MM) / em;
        let height = (paper.inner_mm() - HEAD_MM - FOOT_MM) / em;
        let n_columns = self.n_columns as f64;
        let column = (width - GUTTER * (n_columns - 1.0)) / n_columns;
        Areas { page: Area { width, height }, column: Area { width: column, height }, n_columns: self.n_columns }
    }
}

impl Area {
    /// The height of running text that begins `indent` em from the left, em.
    pub(super) fn text(&self, text: &str, indent: f64) -> f64 {
        measure::LINE * measure::lines(text, (self.width - indent).max(1.0)) as f64
    }
}
