//! A chart drawn with characters, for a terminal.

use super::{Chart, Layer, Named};

/// Rows between the axes.
const ROWS: usize = 16;
/// Columns left of the axis, for its marks.
const GUTTER: usize = 9;

impl Chart {
    /// The drawing, `width` columns wide at most.
    pub(crate) fn text(&self, width: usize) -> String {
        let columns = width.clamp(30, 100) - GUTTER - 1;
        let Some(spans) = self.spans() else { return format!("{}\n  nothing to show\n", self.title) };
        let mut grid = Grid { chart: self, spans, columns, cells: vec![vec![' '; columns]; ROWS] };
        self.layers.iter().for_each(|layer| grid.draw(layer));
        self.layers.iter().for_each(|layer| grid.name(layer));
        grid.print()
    }
}

struct Grid<'a> {
    chart: &'a Chart,
    spans: [[f64; 2]; 2],
    columns: usize,
    cells: Vec<Vec<char>>,
}

impl Grid<'_> {
    /// Column and row of a value, from the top left, as fractions of cells.
    fn cell(&self, x: f64, y: f64) -> Option<[f64; 2]> {
        let [at_x, at_y] = self.chart.place(x, y)?;
        let [[left, right], [low, high]] = self.spans;
        let column = (at_x - left) / (right - left) * (self.columns - 1) as f64;
        let row = (high - at_y) / (high - low) * (ROWS - 1) as f64;
        (-0.5 < column && column < self.columns as f64).then_some([column, row])
    }

    fn put(&mut self, [column, row]: [f64; 2], mark: char) {
        let (column, row) = (column.round(), row.round());
        if 0.0 <= row && row < ROWS as f64 && 0.0 <= column && column < self.columns as f64 {
            self.cells[row as usize][column as usize] = mark;
        }
    }

    fn draw(&mut self, layer: &Layer) {
        match layer {
            Layer::Line(points) => self.line(&self.cells_of(points), '─'),
            Layer::Dashed(points, _) => self.line(&self.cells_of(points), '~'),
            Layer::Steps(points) => {
                let cells = self.cells_of(points);
                for pair in cells.windows(2) {
                    self.line(&[pair[0], [pair[1][0], pair[0][1]]], '─');
                    self.line(&[[pair[1][0], pair[0][1]], pair[1]], '│');
                }
            }
            Layer::Band(points, _) => {
                for end in [1, 2] {
                    let edge: Vec<[f64; 2]> = points.iter().map(|point| [point[0], point[end]]).collect();
                    self.line(&self.cells_of(&edge), '·');
                }
            }
            Layer::Points(points) => self.cells_of(points).into_iter().for_each(|cell| self.put(cell, 'o')),
            Layer::Mark(x, _) => {
                let Some(column) = self.column(*x) else { return };
                (0..ROWS).step_by(2).for_each(|row| self.put([column, row as f64], ':'));
            }
            // Named when all is drawn.
            Layer::Word(..) => {}
        }
    }

    /// Writes the words of a mark beside it, in the first row that has room for them.
    fn name(&mut self, layer: &Layer) {
        let Layer::Mark(x, words) = layer else { return };
        let Some(column) = self.column(*x) else { return };
        let letters: Vec<char> = words.chars().collect();
        let start = (column.round() + 2.0) as usize;
        let room = start.saturating_sub(1)..start + letters.len() + 1;
        let has_room =
            |row: &&mut Vec<char>| row.get(room.clone()).is_some_and(|cells| cells.iter().all(|cell| *cell == ' '));
        if let Some(row) = self.cells.iter_mut().find(has_room) {
            row[start..start + letters.len()].copy_from_slice(&letters);
        }
    }

    /// The column of a place along x, as a fraction; `None` off the drawing.
    fn column(&self, x: f64) -> Option<f64> {
        let place = self.chart.x.scale.place(x)?;
        let [left, right] = self.spans[0];
        let column = (place - left) / (right - left) * (self.columns - 1) as f64;
        (-0.5 < column && column < self.columns as f64).then_some(column)
    }

    fn cells_of(&self, points: &[[f64; 2]]) -> Vec<[f64; 2]> {
        points.iter().filter_map(|&[x, y]| self.cell(x, y)).collect()
    }

    fn line(&mut self, cells: &[[f64; 2]], mark: char) {
        for pair in cells.windows(2) {
            let [from, to] = [pair[0], pair[1]];
            let steps = (to[0] - from[0]).abs().max((to[1] - from[1]).abs()).ceil().max(1.0);
            for step in 0..=steps as usize {
                let share = step as f64 / steps;
                self.put([from[0] + share * (to[0] - from[0]), from[1] + share * (to[1] - from[1])], mark);
            }
        }
    }

    fn print(&self) -> String {
        let mut lines = vec![format!("{}: {}", self.chart.title, self.chart.y.label)];
        let mut marks = vec![String::new(); ROWS];
        for (value, words) in self.chart.y.scale.marks(self.spans[1]) {
            let Some(place) = self.chart.y.scale.place(value) else { continue };
            let [low, high] = self.spans[1];
            marks[((high - place) / (high - low) * (ROWS - 1) as f64).round() as usize] = words;
        }
        for (mark, row) in marks.iter().zip(&self.cells) {
            let drawn: String = row.iter().collect();
            lines.push(format!("{mark:>width$} │{}", drawn.trim_end(), width = GUTTER - 1));
        }
        lines.push(format!("{:>GUTTER$}└{}", "", "─".repeat(self.columns)));
        lines.push(self.foot());
        lines.extend(broken(&self.chart.x.label, self.columns).iter().map(|line| format!("{:>GUTTER$} {line}", "")));
        let legend = self.chart.legend();
        let dashed = legend.iter().filter(|named| matches!(named, Named::Dashed(..)));
        let bands = legend.iter().filter(|named| matches!(named, Named::Band(_)));
        for (sign, of) in [('~', dashed.collect::<Vec<_>>()), ('·', bands.collect())] {
            if !of.is_empty() {
                let names: Vec<&str> = of.iter().map(|named| named.name()).collect();
                lines.push(format!("{:>GUTTER$} {sign} {}", "", names.join(", ")));
            }
        }
        lines.iter().map(|line| format!("{}\n", line.trim_end())).collect()
    }

    /// The marks below the axis; one that would touch the one before it is left out.
    fn foot(&self) -> String {
        let mut line = " ".repeat(GUTTER + 1);
        for (value, words) in self.chart.x.scale.marks(self.spans[0]) {
            let Some(place) = self.chart.x.scale.place(value) else { continue };
            let [left, right] = self.spans[0];
            let column = GUTTER + 1 + ((place - left) / (right - left) * (self.columns - 1) as f64).round() as usize;
            let used = line.trim_end().chars().count();
            if (used == 0 || used + 1 < column) && column + words.chars().count() <= GUTTER + 1 + self.columns {
                let blanks = column.saturating_sub(used);
                line = format!("{}{}{words}", line.trim_end(), " ".repeat(blanks));
            }
        }
        line
    }
}

/// Words in lines of so many columns, broken between words.
fn broken(words: &str, columns: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in words.split(' ') {
        match lines.last_mut() {
            Some(line) if line.is_empty() => line.push_str(word),
            Some(line) if line.chars().count() + 1 + word.chars().count() <= columns => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
