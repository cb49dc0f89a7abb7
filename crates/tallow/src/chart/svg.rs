//! A chart as SVG: black on white, told apart by line and shade and not by hue.

use std::fmt::Write as _;

use maud::{Markup, PreEscaped, html};

use super::{Chart, Layer, Named};

const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 440.0;
/// Left, right, top, bottom.
const MARGIN: [f64; 4] = [70.0, 24.0, 62.0, 56.0];

/// Where the words of the legend stand, below the title.
const LEGEND: f64 = 48.0;

const SOLID: &str = "stroke=\"black\" stroke-width=\"1.8\"";
/// An area.
const BAND: &str = "fill=\"#d0d0d0\" stroke=\"#909090\" stroke-dasharray=\"5 3\"";
const DASHES: [&str; 3] = ["9 4", "3 3", "12 3 2 3"];
/// The width that a letter takes on average, and the height of a line of words.
const LETTER: f64 = 7.0;
const LINE: f64 = 16.0;

impl Chart {
    /// The drawing, whole.
    pub(crate) fn svg(&self) -> String {
        let head = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" \
             font-family=\"sans-serif\" font-size=\"13\">\n<title>{}</title>\n<desc>{}</desc>\n\
             <rect width=\"{WIDTH}\" height=\"{HEIGHT}\" fill=\"white\"/>\n\
             <text x=\"{}\" y=\"26\" font-size=\"16\" font-weight=\"bold\">{}</text>\n",
            escaped(&self.title),
            escaped(&self.says),
            MARGIN[0],
            escaped(&self.title)
        );
        let body = match self.spans() {
            Some(spans) => Drawing { chart: self, spans }.body(),
            None => format!("<text x=\"{}\" y=\"80\">nothing to show</text>\n", MARGIN[0]),
        };
        format!("{head}{body}</svg>\n")
    }
}

/// What a file draws in its own colours, and a page by the ink and paper of its style. No word of a chart can look like one of
/// these: quotes in words are written as entities.
const INKS: [(&str, &str); 6] = [
    ("role=\"img\"", "role=\"img\" class=\"chart\" fill=\"currentColor\""),
    ("=\"black\"", "=\"currentColor\""),
    ("fill=\"white\"", "class=\"paper\""),
    ("stroke=\"white\"", "class=\"broken\""),
    ("fill=\"#d0d0d0\"", "class=\"shade\""),
    ("=\"#909090\"", "=\"currentColor\""),
];

impl Chart {
    /// The drawing for a page, in the page's ink; where it is wider than the screen it can be scrolled, by keys too.
    pub(crate) fn on_page(&self) -> Markup {
        let svg = INKS.into_iter().fold(self.svg(), |svg, (file, page)| svg.replace(file, page));
        html! { div.wide role="group" tabindex="0" aria-label={ "Picture: " (self.title) } { (PreEscaped(svg)) } }
    }
}

struct Drawing<'a> {
    chart: &'a Chart,
    spans: [[f64; 2]; 2],
}

impl Drawing<'_> {
    fn body(&self) -> String {
        let mut dashed = 0;
        // Words come last, so that they break the lines behind them (ISO 129-1).
        let (mut lines, mut words) = (String::new(), String::new());
        for layer in &self.chart.layers {
            match layer {
                Layer::Dashed(points, _) => {
                    lines += &path(&self.all(points), &dash(dashed));
                    dashed += 1;
                }
                Layer::Word([x, y], text) => {
                    words += &self.at(*x, *y).map_or_else(String::new, |[x, y]| beside(x, y - 5.0, roomier(x), text))
                }
                layer => lines += &self.layer(layer),
            }
        }
        for [line, name] in self.marks() {
            lines += &line;
            words += &name;
        }
        lines + &words + &self.legend() + &self.axes()
    }

    /// A sample of each thing with its name, below the title.
    fn legend(&self) -> String {
        let mut left = MARGIN[0];
        let mut out = String::new();
        for named in self.chart.legend() {
            let (middle, right, name) = (LEGEND - 4.0, left + 32.0, named.name());
            let line = |style: &str| {
                format!("<line x1=\"{left:.1}\" y1=\"{middle}\" x2=\"{right:.1}\" y2=\"{middle}\" {style}/>")
            };
            out += &match named {
                Named::Steps => line(SOLID),
                Named::Dashed(place, _) => line(&dash(place)),
                Named::Band(_) => {
                    format!("<rect x=\"{left:.1}\" y=\"{:.1}\" width=\"32\" height=\"12\" {BAND}/>", middle - 6.0)
                }
            };
            out += &format!("\n<text x=\"{:.1}\" y=\"{LEGEND}\">{name}</text>\n", right + 6.0);
            left = right + 26.0 + LETTER * name.chars().count() as f64;
        }
        out
    }

    /// Where a place of the scales lies on the paper.
    fn paper(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let [[left, right], [low, high]] = self.spans;
        let (width, height) = (WIDTH - MARGIN[0] - MARGIN[1], HEIGHT - MARGIN[2] - MARGIN[3]);
        [MARGIN[0] + (x - left) / (right - left) * width, HEIGHT - MARGIN[3] - (y - low) / (high - low) * height]
    }

    fn at(&self, x: f64, y: f64) -> Option<[f64; 2]> {
        self.chart.place(x, y).map(|place| self.paper(place))
    }

    fn layer(&self, layer: &Layer) -> String {
        match layer {
            Layer::Line(points) => path(&self.all(points), SOLID),
            Layer::Steps(points) => path(&stepped(&self.all(points)), SOLID),
            Layer::Band(points, _) => {
                let up = points.iter().filter_map(|&[x, _, high]| self.at(x, high));
                let back = points.iter().rev().filter_map(|&[x, low, _]| self.at(x, low));
                area(&up.chain(back).collect::<Vec<_>>())
            }
            Layer::Points(points) => {
                let marks = self.all(points).into_iter();
                marks.map(|[x, y]| format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.6\" fill=\"white\" stroke=\"black\" stroke-width=\"1.4\"/>\n")).collect()
            }
            // Drawn with their place among their like, or after all lines.
            Layer::Dashed(..) | Layer::Mark(..) | Layer::Word(..) => String::new(),
        }
    }

    fn all(&self, points: &[[f64; 2]]) -> Vec<[f64; 2]> {
        points.iter().filter_map(|&[x, y]| self.at(x, y)).collect()
    }

    /// Where a place along x lies on the paper; `None` off the drawing.
    fn along(&self, x: f64) -> Option<f64> {
        let place = self.chart.x.scale.place(x)?;
        let [[left, right], [low, _]] = self.spans;
        (left <= place && place <= right).then(|| self.paper([place, low])[0])
    }

    /// The lines of the marks and their words. Each has its words a line below those before it, and its line begins there; the
    /// words of each reach away from the lines of those before it, so that they cross none.
    fn marks(&self) -> Vec<[String; 2]> {
        let named =
            |layer| if let &Layer::Mark(x, ref words) = layer { Some((self.along(x)?, &**words)) } else { None };
        let mut marks: Vec<(f64, &str)> = self.chart.layers.iter().filter_map(named).collect();
        let same = side_of_all(&marks);
        let side = |x: f64| same.unwrap_or_else(|| roomier(x));
        let order = |x: f64| match side(x) {
            Side::Right => x,
            Side::Left => 2.0 * WIDTH - x,
        };
        marks.sort_by(|(one, _), (other, _)| order(*one).total_cmp(&order(*other)));
        marks.iter().zip(0..).map(|((x, words), row)| self.mark(*x, words, side(*x), row)).collect()
    }

    /// A mark's line and its words, in the `row`th row from 0.
    fn mark(&self, x: f64, words: &str, side: Side, row: u32) -> [String; 2] {
        let [[left, _], [low, high]] = self.spans;
        let top = self.paper([left, high])[1] + LINE * f64::from(row);
        let bottom = self.paper([left, low])[1];
        let line = format!(
            "<line x1=\"{x:.1}\" y1=\"{top:.1}\" x2=\"{x:.1}\" y2=\"{bottom:.1}\" stroke=\"black\" stroke-dasharray=\"2 3\"/>\n"
        );
        [line, beside(x, top + 14.0, side, words)]
    }

    fn axes(&self) -> String {
        let [[left, right], [low, high]] = self.spans;
        let ([x0, y0], [x1, y1]) = (self.paper([left, low]), self.paper([right, high]));
        let mut out =
            format!("<g fill=\"none\" stroke=\"black\"><path d=\"M{x0:.1},{y1:.1} V{y0:.1} H{x1:.1}\"/></g>\n<g>\n");
        for (value, words) in self.chart.x.scale.marks(self.spans[0]) {
            let Some(place) = self.chart.x.scale.place(value) else { continue };
            let x = self.paper([place, low])[0];
            // OK because writing to a string can't fail.
            let _ = writeln!(
                out,
                "<path d=\"M{x:.1},{y0:.1} v5\" stroke=\"black\"/><text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{words}</text>",
                y0 + 20.0
            );
        }
        for (value, words) in self.chart.y.scale.marks(self.spans[1]) {
            let Some(place) = self.chart.y.scale.place(value) else { continue };
            let y = self.paper([left, place])[1];
            let _ = writeln!(
                out,
                "<path d=\"M{x0:.1},{y:.1} h-5\" stroke=\"black\"/><text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{words}</text>",
                x0 - 9.0,
                y + 4.5
            );
        }
        let (middle_x, middle_y) = (0.5 * (x0 + x1), 0.5 * (y0 + y1));
        let _ = writeln!(
            out,
            "<text x=\"{middle_x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
            HEIGHT - 12.0,
            escaped(&self.chart.x.label)
        );
        let _ = writeln!(
            out,
            "<text transform=\"translate(16 {middle_y:.1}) rotate(-90)\" text-anchor=\"middle\">{}</text>\n</g>",
            escaped(&self.chart.y.label)
        );
        out
    }
}

/// How a dashed line is drawn, the `place`th from 0.
fn dash(place: usize) -> String {
    format!("{SOLID} stroke-dasharray=\"{}\"", DASHES[place % DASHES.len()])
}

/// On which side of a place words stand.
#[derive(Clone, Copy, Debug)]
enum Side {
    Left,
    Right,
}

/// How far beside a place words stand.
const BESIDE: f64 = 6.0;

impl Side {
    /// Whether words beside `x` stay on the paper.
    fn has_room(self, x: f64, words: &str) -> bool {
        let far = BESIDE + LETTER * words.chars().count() as f64;
        match self {
            Side::Left => MARGIN[0] <= x - far,
            Side::Right => x + far <= WIDTH,
        }
    }
}

/// The side of their marks on which all words have room; `None` where there is none, and each stands where there is more room.
fn side_of_all(marks: &[(f64, &str)]) -> Option<Side> {
    [Side::Right, Side::Left].into_iter().find(|side| marks.iter().all(|(x, words)| side.has_room(*x, words)))
}

/// The side of a place on which there is more room.
fn roomier(x: f64) -> Side {
    if WIDTH * 0.6 < x { Side::Left } else { Side::Right }
}

/// Words beside a place; the lines behind them are broken.
fn beside(x: f64, y: f64, side: Side, words: &str) -> String {
    let (anchor, x) = match side {
        Side::Left => ("end", x - BESIDE),
        Side::Right => ("start", x + BESIDE),
    };
    format!(
        "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" stroke=\"white\" stroke-width=\"5\" stroke-linejoin=\"round\" \
         paint-order=\"stroke\">{}</text>\n",
        escaped(words)
    )
}

fn path(points: &[[f64; 2]], style: &str) -> String {
    format!("<polyline points=\"{}\" fill=\"none\" {style}/>\n", listed(points))
}

fn area(points: &[[f64; 2]]) -> String {
    format!("<polygon points=\"{}\" {BAND}/>\n", listed(points))
}

/// Places as SVG lists them.
fn listed(points: &[[f64; 2]]) -> String {
    points.iter().map(|[x, y]| format!("{x:.1},{y:.1}")).collect::<Vec<_>>().join(" ")
}

/// Adds the corner of each step.
fn stepped(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut corners: Vec<[f64; 2]> = Vec::with_capacity(2 * points.len());
    for &[x, y] in points {
        if let Some(&[_, before]) = corners.last() {
            corners.push([x, before]);
        }
        corners.push([x, y]);
    }
    corners
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
