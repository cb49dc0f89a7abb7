//! What the pen leaves: lines and areas by the conventions of technical drawing (ISO 128).

use maud::{Markup, html};

use super::belt::{self, Wheel};
use super::geometry::{Cell, Point, at};

/// A form in the drawing's units.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Form {
    /// An open line.
    Line(Vec<Point>),
    /// Closed outlines; what lies in two of them is a hole.
    Area(Vec<Vec<Point>>),
    /// A circle.
    Circle(Point, f64),
    /// A circle seen aslant: half its width and half its height.
    Oval(Point, f64, f64),
    /// A belt over its wheels.
    Belt(Vec<Wheel>),
}

/// How a form is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Look {
    /// A part in section: outline of 2 px, hatched as it is used.
    Body,
    /// Hair line of 1 px.
    Hair,
    /// Hidden behind something: dashed hair line.
    Hidden,
    /// A belt: chain line with dots (ISO 128-2, long dashed dotted).
    Chain,
}

/// A form and how it is drawn.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Mark {
    /// The form.
    pub(super) form: Form,
    /// How.
    pub(super) look: Look,
}

/// What is drawn of a part, and the place in it to which its leader line points.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Member {
    /// The marks.
    pub(super) marks: Vec<Mark>,
    /// Where the leader line ends.
    pub(super) at: Point,
}

impl Mark {
    /// A part in section.
    pub(super) fn body(form: Form) -> Mark {
        Mark { form, look: Look::Body }
    }

    /// A hair line.
    pub(super) fn hair(form: Form) -> Mark {
        Mark { form, look: Look::Hair }
    }

    /// The same where no position of the build is that part: in hair lines.
    pub(super) fn unnamed(&self) -> Mark {
        let look = if self.look == Look::Body { Look::Hair } else { self.look };
        Mark { form: self.form.clone(), look }
    }

    /// A rectangle in hair lines.
    pub(super) fn outline(cell: Cell) -> Mark {
        Mark::hair(Form::Area(vec![cell.corners()]))
    }

    /// A rectangle that something hides.
    pub(super) fn hidden(cell: Cell) -> Mark {
        Mark { form: Form::Area(vec![cell.corners()]), look: Look::Hidden }
    }
}

impl Member {
    /// A part in section, a rectangle.
    pub(super) fn block(cell: Cell) -> Member {
        Member { marks: vec![Mark::body(Form::Area(vec![cell.corners()]))], at: cell.middle() }
    }

    /// A part in section, round.
    pub(super) fn round(middle: Point, radius: f64) -> Member {
        Member { marks: vec![Mark::body(Form::Circle(middle, radius))], at: middle }
    }

    /// The same with hair lines upon it.
    pub(super) fn with(mut self, lines: impl IntoIterator<Item = Vec<Point>>) -> Member {
        self.marks.extend(lines.into_iter().map(|line| Mark::hair(Form::Line(line))));
        self
    }

    /// The same, its leader line pointing there.
    pub(super) fn pointed(mut self, to: Point) -> Member {
        self.at = to;
        self
    }
}

/// From the drawing's units to the paper's, px.
#[derive(Clone, Copy, Debug)]
pub(super) struct Paper {
    /// Where the drawing's corner lies.
    pub(super) corner: Point,
    /// Pixels to a unit.
    pub(super) scale: f64,
}

impl Paper {
    /// Where a place lies on the paper.
    pub(super) fn place(self, of: Point) -> Point {
        at(self.corner.x + of.x * self.scale, self.corner.y + of.y * self.scale)
    }

    fn pen(self, form: &Form) -> String {
        match form {
            Form::Line(points) => self.line(points),
            Form::Area(outlines) => outlines.iter().map(|points| self.line(points) + "Z").collect(),
            Form::Circle(middle, radius) => self.oval(*middle, *radius, *radius),
            Form::Oval(middle, across, down) => self.oval(*middle, *across, *down),
            Form::Belt(wheels) => belt::path(wheels, self.scale, |point| self.place(point)),
        }
    }

    fn line(self, points: &[Point]) -> String {
        let steps = points.iter().enumerate().map(|(index, point)| {
            let Point { x, y } = self.place(*point);
            format!("{}{x:.1} {y:.1}", if index == 0 { 'M' } else { 'L' })
        });
        steps.collect()
    }

    fn oval(self, middle: Point, across: f64, down: f64) -> String {
        let (across, down) = (across * self.scale, down * self.scale);
        let Point { x, y } = self.place(middle);
        let half = |to: f64| format!("A{across:.1} {down:.1} 0 1 0 {to:.1} {y:.1}");
        format!("M{:.1} {y:.1}{}{}Z", x - across, half(x + across), half(x - across))
    }

    /// Draws a mark; a part in section is hatched by the class `hatch`.
    pub(super) fn draw(self, mark: &Mark, hatch: &str) -> Markup {
        let pen = self.pen(&mark.form);
        let class = match mark.look {
            Look::Body => "body",
            Look::Hair => "hair",
            Look::Hidden => "hair hidden",
            Look::Chain => "chain",
        };
        html! {
            path class=(class) d=(pen) fill-rule="evenodd" {}
            @if mark.look == Look::Body { path class=(hatch) d=(pen) fill-rule="evenodd" {} }
        }
    }
}
