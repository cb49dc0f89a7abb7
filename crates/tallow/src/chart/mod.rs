//! Charts as data: two axes and what is drawn between them. `svg` draws them for screen and paper, `text` for a terminal.

mod scale;
mod svg;
mod text;

pub(crate) use scale::{Scale, scientific};

/// Something that the legend names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Named {
    /// The steps, beside dashed lines.
    Steps,
    /// The dashed line of that place among its like, from 0.
    Dashed(usize, &'static str),
    /// An area.
    Band(&'static str),
}

impl Named {
    /// What it is called.
    fn name(self) -> &'static str {
        match self {
            Named::Steps => "as recorded",
            Named::Dashed(_, name) | Named::Band(name) => name,
        }
    }
}

/// An axis.
#[derive(Clone, Debug)]
pub(crate) struct Axis {
    /// What it measures, with its unit.
    pub(crate) label: String,
    pub(crate) scale: Scale,
}

/// Something drawn, in the axes' own values.
#[derive(Clone, Debug)]
pub(crate) enum Layer {
    /// A line through the points.
    Line(Vec<[f64; 2]>),
    /// A line through the points that is told apart by its dash, and named in the legend.
    Dashed(Vec<[f64; 2]>, &'static str),
    /// A line that keeps its height until the next point.
    Steps(Vec<[f64; 2]>),
    /// An area between two heights, named in the legend.
    Band(Vec<[f64; 3]>, &'static str),
    /// Marks.
    Points(Vec<[f64; 2]>),
    /// A place along x, named.
    Mark(f64, String),
    /// Words beside a place.
    Word([f64; 2], String),
}

/// A chart.
#[derive(Clone, Debug)]
pub(crate) struct Chart {
    pub(crate) title: String,
    /// What it shows, in a sentence, for those who can't see it.
    pub(crate) says: String,
    pub(crate) x: Axis,
    pub(crate) y: Axis,
    pub(crate) layers: Vec<Layer>,
}

impl Layer {
    /// The same with x counted in units of `size`.
    fn x_in(self, size: f64) -> Layer {
        let two = |points: Vec<[f64; 2]>| points.into_iter().map(|[x, y]| [x / size, y]).collect();
        match self {
            Layer::Line(points) => Layer::Line(two(points)),
            Layer::Dashed(points, name) => Layer::Dashed(two(points), name),
            Layer::Steps(points) => Layer::Steps(two(points)),
            Layer::Points(points) => Layer::Points(two(points)),
            Layer::Band(points, name) => {
                Layer::Band(points.into_iter().map(|[x, low, high]| [x / size, low, high]).collect(), name)
            }
            Layer::Mark(x, words) => Layer::Mark(x / size, words),
            Layer::Word([x, y], words) => Layer::Word([x / size, y], words),
        }
    }

    /// Every place that it covers.
    fn places(&self) -> Vec<[f64; 2]> {
        match self {
            Layer::Line(points) | Layer::Dashed(points, _) | Layer::Steps(points) | Layer::Points(points) => {
                points.clone()
            }
            Layer::Band(points, _) => points.iter().flat_map(|&[x, low, high]| [[x, low], [x, high]]).collect(),
            Layer::Mark(..) | Layer::Word(..) => Vec::new(),
        }
    }
}

impl Chart {
    /// The same with x counted in units of `size`, and that label.
    pub(crate) fn x_in(mut self, size: f64, label: String) -> Chart {
        self.layers = self.layers.into_iter().map(|layer| layer.x_in(size)).collect();
        self.x.label = label;
        self
    }

    /// What must be named to be told apart: lines by their dash, the steps beside them, areas.
    fn legend(&self) -> Vec<Named> {
        let dashes =
            self.layers.iter().filter_map(|layer| if let Layer::Dashed(_, name) = layer { Some(*name) } else { None });
        let dashed: Vec<Named> = dashes.enumerate().map(|(place, name)| Named::Dashed(place, name)).collect();
        let is_stepped = !dashed.is_empty() && self.layers.iter().any(|layer| matches!(layer, Layer::Steps(_)));
        let bands = self.layers.iter().filter_map(|layer| match layer {
            Layer::Band(points, name) if !points.is_empty() => Some(*name),
            _ => None,
        });
        is_stepped.then_some(Named::Steps).into_iter().chain(dashed).chain(bands.map(Named::Band)).collect()
    }

    /// What its line says, as a table: every tenth of its points, and the named places along it with the line's height there.
    /// Empty where it has no line.
    pub(crate) fn rows(&self) -> Vec<(f64, Option<f64>, &str)> {
        let line = self.layers.iter().find_map(|layer| if let Layer::Line(line) = layer { Some(line) } else { None });
        let Some(line) = line else { return Vec::new() };
        let marks = self
            .layers
            .iter()
            .filter_map(|layer| if let Layer::Mark(x, words) = layer { Some((*x, words)) } else { None });
        let height = |x: f64| line.iter().find(|point| x <= point[0]).map(|point| point[1]);
        let mut rows: Vec<(f64, Option<f64>, &str)> = line.iter().step_by(10).map(|&[x, y]| (x, Some(y), "")).collect();
        rows.extend(marks.map(|(x, words)| (x, height(x), words.as_str())));
        rows.sort_by(|one, other| one.0.total_cmp(&other.0));
        rows
    }

    /// The spans of x and y that hold everything that can be shown, in the scales' own coordinates; `None` if nothing can.
    fn spans(&self) -> Option<[[f64; 2]; 2]> {
        let shown = self.layers.iter().flat_map(Layer::places).filter_map(|[x, y]| self.place(x, y));
        let mut spans: Option<[[f64; 2]; 2]> = None;
        for place in shown {
            let spans = spans.get_or_insert([[place[0]; 2], [place[1]; 2]]);
            for (span, at) in spans.iter_mut().zip(place) {
                *span = [span[0].min(at), span[1].max(at)];
            }
        }
        spans.map(|spans| spans.map(|[from, to]| if to <= from { [from - 0.5, to + 0.5] } else { [from, to] }))
    }

    /// Where a value lies in the scales' own coordinates.
    fn place(&self, x: f64, y: f64) -> Option<[f64; 2]> {
        Some([self.x.scale.place(x)?, self.y.scale.place(y)?])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(super) fn chart() -> Chart {
        Chart {
            title: "Still good".to_owned(),
            says: "A step down.".to_owned(),
            x: Axis { label: "age, h".to_owned(), scale: Scale::Linear },
            y: Axis { label: "share".to_owned(), scale: Scale::Linear },
            layers: vec![
                Layer::Band(vec![[0.0, 0.9, 1.0], [10.0, 0.1, 0.6]], "bounds"),
                Layer::Steps(vec![[0.0, 1.0], [5.0, 0.5], [10.0, 0.25]]),
                Layer::Points(vec![[5.0, 0.5]]),
                Layer::Mark(5.0, "half <here> & now".to_owned()),
            ],
        }
    }

    #[test]
    fn a_drawing_says_what_it_shows_and_is_well_formed() {
        let svg = chart().svg();
        for part in ["<title>Still good</title>", "<desc>A step down.</desc>", "age, h", "half &lt;here&gt; &amp; now"]
        {
            assert!(svg.contains(part), "{part}\n{svg}");
        }
        let opened = svg.matches("<g").count();
        assert_eq!(opened, svg.matches("</g>").count());
        assert!(svg.starts_with("<svg ") && svg.trim_end().ends_with("</svg>") && !svg.contains("NaN"), "{svg}");
    }

    #[test]
    fn on_a_page_a_drawing_has_the_pages_ink_and_its_words_stay_words() {
        let named = Chart { title: "=\"black\" fill=\"white\"".to_owned(), ..chart() };
        let page = named.on_page().into_string();
        assert!(
            page.contains("class=\"chart\"") && page.contains("currentColor") && !page.contains("style="),
            "{page}"
        );
        assert!(page.contains("=&quot;black&quot; fill=&quot;white&quot;"), "{page}");
        assert!(!page.contains("=\"black\"") && !page.contains("=\"white\""), "{page}");
    }

    #[test]
    fn a_law_is_told_apart_from_the_records_by_its_dash_and_named() {
        let law = Layer::Dashed(vec![[0.0, 1.0], [10.0, 0.2]], "law");
        let both = Chart { layers: [chart().layers, vec![law]].concat(), ..chart() };
        let svg = both.svg();
        assert!(svg.contains(">law</text>") && svg.contains(">as recorded</text>"), "{svg}");
        assert!(svg.contains("stroke-width=\"1.8\" stroke-dasharray=\"9 4\""), "{svg}");
        assert!(both.text(60).contains("~ law"), "{}", both.text(60));
        assert!(!chart().svg().contains("as recorded"), "one line needs no legend");
    }

    #[test]
    fn an_area_is_named_on_screen_and_in_a_terminal() {
        let svg = chart().svg();
        let has_sample = svg.lines().any(|line| line.starts_with("<rect") && line.contains("#d0d0d0"));
        assert!(has_sample && svg.contains(">bounds</text>"), "{svg}");
        assert!(chart().text(60).contains("· bounds"), "{}", chart().text(60));
    }

    #[test]
    fn words_on_a_drawing_break_the_lines_behind_them() {
        let svg = chart().svg();
        let (line, words) = (svg.find("stroke-dasharray=\"2 3\"").unwrap(), svg.find("half &lt;").unwrap());
        let last = svg.rfind("<polyline").unwrap();
        assert!(line < words && last < words, "words are drawn after every line\n{svg}");
        assert!(svg.lines().any(|line| line.contains("half &lt;") && line.contains("paint-order=\"stroke\"")), "{svg}");
    }

    #[test]
    fn names_of_marks_at_one_place_stand_below_each_other() {
        let mark = |words: &str| Layer::Mark(5.0, words.to_owned());
        let svg = Chart { layers: [chart().layers, vec![mark("late")]].concat(), ..chart() }.svg();
        let height = |words: &str| {
            let line = svg.lines().find(|line| line.contains(words)).unwrap();
            line.split("y=\"").nth(1).unwrap().split('"').next().unwrap().parse::<f64>().unwrap()
        };
        assert!(12.0 <= height("late<") - height("half &lt;"), "{svg}");
    }

    #[test]
    fn words_of_marks_cross_no_marks_line() {
        let number = |tag: &str, name: &str| -> f64 {
            tag.split(&format!(" {name}=\"")).nth(1).unwrap().split('"').next().unwrap().parse().unwrap()
        };
        // As of the best age and what is open of it: at the left, in the middle and at the right, near to each other.
        for (best, open) in [(0.4, 0.2), (4.6, 0.1), (5.0, 0.6), (5.8, 0.1), (9.8, 0.1)] {
            let marks = [(best, "best"), (best - open, "best at least"), (best + open, "best at most")];
            let marks = marks.map(|(x, words)| Layer::Mark(x, words.to_owned()));
            let svg = Chart { layers: [chart().layers, marks.to_vec()].concat(), ..chart() }.svg();
            let lines: Vec<&str> = svg.lines().filter(|line| line.contains("stroke-dasharray=\"2 3\"")).collect();
            let words: Vec<&str> = svg.lines().filter(|line| line.contains(">best")).collect();
            assert_eq!((lines.len(), words.len()), (4, 3), "{svg}");
            for word in words {
                let text = word.split('>').nth(1).unwrap().split('<').next().unwrap();
                let (at, wide) = (number(word, "x"), 7.0 * text.chars().count() as f64);
                let from = if word.contains("\"end\"") { at - wide } else { at };
                let is_crossed = |line: &&&str| {
                    let x = number(line, "x1");
                    from < x && x < from + wide && number(line, "y1") < number(word, "y")
                };
                let crossed: Vec<_> = lines.iter().filter(is_crossed).collect();
                assert!(crossed.is_empty(), "{text} at {best}: {crossed:?}");
            }
        }
    }

    #[test]
    fn a_text_drawing_keeps_to_its_width_and_steps_down() {
        let text = chart().text(60);
        assert!(text.lines().all(|line| line.chars().count() <= 60), "{text}");
        let rows: Vec<usize> =
            text.lines().enumerate().filter(|(_, line)| line.contains('─')).map(|(row, _)| row).collect();
        assert!(2 <= rows.len(), "{text}");
    }

    #[test]
    fn a_long_label_is_broken_to_the_width() {
        let x = Axis { label: "age at which parts are replaced, filament mass, kg".to_owned(), scale: Scale::Linear };
        let text = Chart { x, ..chart() }.text(40);
        assert!(text.lines().all(|line| line.chars().count() <= 40) && text.contains("mass, kg"), "{text}");
    }

    #[test]
    fn a_text_drawing_names_its_marks_where_there_is_room() {
        let named = |words: &str| Chart {
            layers: [chart().layers, vec![Layer::Mark(7.0, words.to_owned())]].concat(),
            ..chart()
        };
        assert!(named("late").text(60).lines().any(|line| line.contains(" late")), "{}", named("late").text(60));
        // No row has room for words as long as the drawing, and a mark off the drawing has no place.
        assert!(!named(&"long".repeat(20)).text(60).contains("long"));
        let off = Chart {
            layers: vec![Layer::Line(vec![[0.0, 1.0], [1.0, 2.0]]), Layer::Mark(-3.0, "off".to_owned())],
            ..chart()
        };
        assert!(!off.text(60).contains("off"));
    }

    #[test]
    fn nothing_to_show_is_said() {
        let empty = Chart { layers: vec![Layer::Line(vec![[f64::NAN, 1.0]])], ..chart() };
        assert!(empty.svg().contains("nothing to show") && empty.text(60).contains("nothing to show"));
    }
}
