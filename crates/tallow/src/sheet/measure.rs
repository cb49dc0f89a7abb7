//! How much room text takes on paper, in em: widths of an upright sans serif on the wide side, so that a narrower one of
//! the reader's device needs no more room than was kept.

/// Height of a line, em.
pub(super) const LINE: f64 = 1.25;

/// How much wider bold type is.
pub(super) const BOLD: f64 = 1.13;

/// How wide a letter is, em. The classes are those of the widths of a wide, open font family, rounded up.
fn advance(letter: char) -> f64 {
    match letter {
        'i' | 'j' | 'l' | '\'' | '|' => 0.29,
        ' ' | '.' | ',' | ':' | ';' | '!' | 'f' | 't' | '/' | '-' | 'I' => 0.38,
        'r' | '(' | ')' | '"' => 0.44,
        'c' | 's' | 'z' => 0.55,
        'm' | 'w' | 'M' | 'W' | '%' | '—' | '@' => 1.0,
        'A'..='Z' => 0.74,
        letter if letter.is_ascii() => 0.64,
        // Scripts whose letters fill a square.
        '\u{1100}'..='\u{11ff}' | '\u{2e80}'..='\u{ffef}' | '\u{1f000}'.. => 1.05,
        _ => 0.8,
    }
}

/// How wide text is in one line, em.
pub(super) fn width(text: &str) -> f64 {
    text.chars().map(advance).sum()
}

/// In how many lines of `room` em text is set, broken between words; a word that fits no line is broken within.
pub(super) fn lines(text: &str, room: f64) -> usize {
    let mut lines = 1;
    let mut used = 0.0;
    for word in text.split_whitespace() {
        let wide = width(word);
        let blank = if used == 0.0 { 0.0 } else { advance(' ') };
        if used + blank + wide <= room {
            used += blank + wide;
        } else if wide <= room {
            lines += 1;
            used = wide;
        } else {
            // What is left of its last line is not counted on.
            lines += ((used + blank + wide) / room) as usize;
            used = room;
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_go_to_the_next_line_whole() {
        // Worked by hand: "mm" is 2 em, a blank 0.38 em.
        assert_eq!(lines("mm mm", 4.4), 1);
        assert_eq!(lines("mm mm", 4.3), 2);
        assert_eq!(lines("", 4.0), 1);
        assert_eq!(lines("mm mm mm", 2.0), 3);
    }

    #[test]
    fn a_word_longer_than_a_line_takes_several() {
        assert!(3 <= lines(&"m".repeat(25), 10.0));
        assert!(4 <= lines(&format!("mmmmm {} mmmmm", "m".repeat(20)), 10.0));
    }
}
