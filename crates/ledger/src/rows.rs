//! Statements over many rows at once, in so few lengths that each is prepared once and kept by its connection.

/// Rows to a statement that writes. SQLite looks for each of its values by name among all of them, so a statement of twice the
/// rows takes four times as long to fill.
const PIECES: [usize; 3] = [32, 4, 1];

/// How many times longer each length of a list is than the one before.
const STEP: usize = 8;

/// `items` in pieces, each of one of three lengths, in their order.
pub(crate) fn pieces<T>(mut items: &[T]) -> impl Iterator<Item = &[T]> {
    std::iter::from_fn(move || {
        let length = PIECES.into_iter().find(|length| *length <= items.len())?;
        let (piece, rest) = items.split_at(length);
        items = rest;
        Some(piece)
    })
}

/// `items` with the last one repeated up to the next of few lengths: for a list in which it does not matter how often
/// something stands.
pub(crate) fn padded<T: Clone>(mut items: Vec<T>) -> Vec<T> {
    let Some(last) = items.last().cloned() else { return items };
    let mut length = 1;
    while length < items.len() {
        length *= STEP;
    }
    items.resize(length, last);
    items
}

/// The places of the values of `rows` rows of `columns` columns: `($1, $2), ($3, $4)`.
pub(crate) fn places(rows: usize, columns: usize) -> String {
    let row = |row: usize| {
        let of_row: Vec<String> = (1..=columns).map(|column| format!("${}", row * columns + column)).collect();
        format!("({})", of_row.join(", "))
    };
    (0..rows).map(row).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_hold_every_item_once_and_have_few_lengths() {
        for n in 0..300 {
            let items: Vec<usize> = (0..n).collect();
            assert_eq!(pieces(&items).flatten().copied().collect::<Vec<_>>(), items);
            assert!(pieces(&items).all(|piece| PIECES.contains(&piece.len())));
        }
    }

    #[test]
    fn a_padded_list_holds_the_same_things_and_has_few_lengths() {
        assert!(padded(Vec::<u8>::new()).is_empty());
        assert_eq!(padded(vec![5]), [5]);
        assert_eq!(padded(vec![1, 2, 3]), [1, 2, 3, 3, 3, 3, 3, 3]);
        assert_eq!(padded((0..9).collect::<Vec<_>>()).len(), 64);
    }

    #[test]
    fn places_are_numbered_row_by_row() {
        assert_eq!(places(2, 3), "($1, $2, $3), ($4, $5, $6)");
        assert_eq!(places(0, 3), "");
    }
}
