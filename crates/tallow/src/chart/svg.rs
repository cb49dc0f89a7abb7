//! A chart as SVG: black on white, told apart by line and shade and not by hue.

use std::fmt::Write as _;

use maud::{Markup, PreEscaped};

use super::{Chart, Layer};

const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 440.0;
/// Left, right, top, bottom.
const MARGIN: [f64; 4] = [70.0, 24.0, 44.0, 56.0];

const SOLID: &str = "stroke=\"black\" stroke-width=\"1.8\"";
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
const INKS: [(&str, &str); 5] = [
    ("role=\"img\"", "role=\"img\" class=\"chart\" fill=\"currentColor\""),
    ("=\"black\"", "=\"currentColor\""),
    ("fill=\"white\"", "class=\"paper\""),
    ("fill=\"#d0d0d0\"", "class=\"shade\""),
    ("=\"#909090\"", "=\"currentColor\""),
];

impl Chart {
    /// The drawing for a page, in the page's ink.
    pub(crate) fn on_page(&self) -> Markup {
        PreEscaped(INKS.into_iter().fold(self.svg(), |svg, (file, page)| svg.replace(file, page)))
    }
}

struct Drawing<'a> {
    chart: &'a Chart,
    spans: [[f64; 2]; 2],
}

impl Drawing<'_> {
    fn body(&self) -> String {
        let mut out = String::new();
        let (mut dashed, mut marks) = (0, 0);
        for layer in &self.chart.layers {
            out.push_str(&match layer {
                Layer::Dashed(points, _) => {
                    dashed += 1;
                    self.path(&self.all(points), "none", &dash(dashed - 1))
                }
                Layer::Mark(x, words) => {
                    marks += 1;
                    self.mark(*x, words, marks - 1)
                }
                layer => self.layer(layer),
            });
        }
        out + &self.legend() + &self.axes()
    }

    /// Samples of the dashes with their names, in the line of the title from the right.
    fn legend(&self) -> String {
        let names = self.chart.legend();
        let n_whole = names.iter().filter(|name| **name == super::RECORDED).count();
        let mut right = WIDTH - MARGIN[1];
        let mut out = String::new();
        for (place, name) in names.iter().enumerate().rev() {
            let style = match place.checked_sub(n_whole) {
                Some(place) => dash(place),
                None => SOLID.to_owned(),
            };
            let start = right - LETTER * name.chars().count() as f64;
            out += &format!(
                "<line x1=\"{:.1}\" y1=\"22\" x2=\"{:.1}\" y2=\"22\" {style}/>\n\
                 <text x=\"{start:.1}\" y=\"26\">{name}</text>\n",
                start - 38.0,
                start - 6.0
            );
            right = start - 52.0;
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
            Layer::Line(points) => self.path(&self.all(points), "none", SOLID),
            Layer::Steps(points) => self.path(&stepped(&self.all(points)), "none", SOLID),
            Layer::Band(points) => {
                let up = points.iter().filter_map(|&[x, _, high]| self.at(x, high));
                let back = points.iter().rev().filter_map(|&[x, low, _]| self.at(x, low));
                self.path(&up.chain(back).collect::<Vec<_>>(), "#d0d0d0", "stroke=\"#909090\" stroke-dasharray=\"5 3\"")
            }
            Layer::Points(points) => {
                let marks = self.all(points).into_iter();
                marks.map(|[x, y]| format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.6\" fill=\"white\" stroke=\"black\" stroke-width=\"1.4\"/>\n")).collect()
            }
            Layer::Word([x, y], words) => self.at(*x, *y).map_or_else(String::new, |[x, y]| {
                let (anchor, shift) = beside(x);
                format!(
                    "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\">{}</text>\n",
                    x + shift,
                    y - 5.0,
                    escaped(words)
                )
            }),
            // Drawn with their place among their like.
            Layer::Dashed(..) | Layer::Mark(..) => String::new(),
        }
    }

    fn all(&self, points: &[[f64; 2]]) -> Vec<[f64; 2]> {
        points.iter().filter_map(|&[x, y]| self.at(x, y)).collect()
    }

    fn path(&self, points: &[[f64; 2]], fill: &str, style: &str) -> String {
        let line: Vec<String> = points.iter().map(|[x, y]| format!("{x:.1},{y:.1}")).collect();
        let element = if fill == "none" { "polyline" } else { "polygon" };
        format!("<{element} points=\"{}\" fill=\"{fill}\" {style}/>\n", line.join(" "))
    }

    /// A mark, the `row`th from 0: each has its words a line below the one before.
    fn mark(&self, x: f64, words: &str, row: u32) -> String {
        let Some(place) = self.chart.x.scale.place(x) else { return String::new() };
        let [[left, right], [low, high]] = self.spans;
        if place < left || right < place {
            return String::new();
        }
        let [x, top] = self.paper([place, high]);
        let bottom = self.paper([place, low])[1];
        let (anchor, shift) = beside(x);
        format!(
            "<line x1=\"{x:.1}\" y1=\"{top:.1}\" x2=\"{x:.1}\" y2=\"{bottom:.1}\" stroke=\"black\" stroke-dasharray=\"2 3\"/>\n\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"{}\">{}</text>\n",
            x + shift,
            top + 14.0 + LINE * f64::from(row),
            anchor,
            escaped(words)
        )
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

/// On which side of a place its words stand, and how far from it.
fn beside(x: f64) -> (&'static str, f64) {
    if WIDTH * 0.6 < x { ("end", -6.0) } else { ("start", 6.0) }
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
