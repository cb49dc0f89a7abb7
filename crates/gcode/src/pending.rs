//! A line of which only a part has arrived, in bounded memory.

/// The most bytes of code in a line that is still read: no command comes near. A comment may be of any length.
pub const MAX_LINE: usize = 65536;

/// What has become of the bytes beyond [`MAX_LINE`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Beyond {
    /// There are none.
    Nothing,
    /// They are the rest of a `;` comment.
    Comment,
    /// They are the rest of a `(` comment that is still open.
    Open,
    /// As `Open`, but it was closed and only blanks have followed.
    Closed,
    /// They are code, so that the line must be skipped.
    Code,
}

/// A line's first [`MAX_LINE`] bytes, and whether something is lost without the rest.
#[derive(Clone, Debug)]
pub(crate) struct Pending {
    head: Vec<u8>,
    beyond: Beyond,
}

impl Pending {
    pub(crate) fn new() -> Pending {
        Pending { head: Vec::new(), beyond: Beyond::Nothing }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.head.is_empty()
    }

    pub(crate) fn clear(&mut self) {
        self.head.clear();
        self.beyond = Beyond::Nothing;
    }

    pub(crate) fn push(&mut self, bytes: &[u8]) {
        let (kept, rest) = bytes.split_at(bytes.len().min(MAX_LINE - self.head.len()));
        self.head.extend_from_slice(kept);
        if !rest.is_empty() {
            self.pass_over(rest);
        }
    }

    /// The bytes kept.
    pub(crate) fn head(&self) -> &[u8] {
        &self.head
    }

    /// Whether nothing but comment was dropped, so that the head reads as the whole line would.
    pub(crate) fn is_whole(&self) -> bool {
        self.beyond != Beyond::Code
    }

    fn pass_over(&mut self, bytes: &[u8]) {
        if self.beyond == Beyond::Nothing {
            self.beyond = place_at_end(&self.head);
        }
        let mut rest = bytes;
        while let Some(&byte) = rest.first() {
            self.beyond = match (self.beyond, byte) {
                (Beyond::Nothing | Beyond::Comment | Beyond::Code, _) => return,
                (Beyond::Open, _) => match memchr::memchr(b')', rest) {
                    Some(at) => {
                        rest = &rest[at..];
                        Beyond::Closed
                    }
                    None => return,
                },
                (Beyond::Closed, b' ' | b'\t') => Beyond::Closed,
                (Beyond::Closed, b'(') => Beyond::Open,
                (Beyond::Closed, b';') => Beyond::Comment,
                (Beyond::Closed, _) => Beyond::Code,
            };
            rest = &rest[1..];
        }
    }
}

/// Where the end of `head` stands: in code or in a comment.
fn place_at_end(head: &[u8]) -> Beyond {
    let mut rest = head;
    while let Some(at) = memchr::memchr2(b';', b'(', rest) {
        if rest[at] == b';' {
            return Beyond::Comment;
        }
        match memchr::memchr(b')', &rest[at..]) {
            Some(close) => rest = &rest[at + close + 1..],
            None => return Beyond::Open,
        }
    }
    Beyond::Code
}
