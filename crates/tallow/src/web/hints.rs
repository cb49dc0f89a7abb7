//! What the command line advises, for those who read a page: what names a command or an option is left out, for nobody at a
//! page can follow it.

use crate::trouble::Trouble;

/// A clause without the command or the options that end it.
pub(crate) fn without_command(clause: &str) -> &str {
    let end = [": tallow ", "; tallow ", ": --"].iter().filter_map(|start| clause.find(start)).min();
    end.map_or(clause, |end| &clause[..end])
}

/// The lines on what to do that can be followed at a page.
pub(crate) fn of(trouble: &Trouble) -> impl Iterator<Item = &str> {
    let is_for_all = |line: &&String| !line.contains("--") && !line.contains("tallow ");
    trouble.help_lines().iter().filter(is_for_all).map(String::as_str)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_way_out_keeps_its_reason_and_loses_the_command() {
        let of = without_command;
        assert_eq!(of("the shop has no keeper; add one: tallow keeper set NAME"), "the shop has no keeper; add one");
        assert_eq!(
            of("it uses 5 ml of oil, and there is 2 ml; tallow stores buy"),
            "it uses 5 ml of oil, and there is 2 ml"
        );
        assert_eq!(
            of("give the steps that are set, to hear the right ones: --steps."),
            "give the steps that are set, to hear the right ones"
        );
        assert_eq!(of("one long day would do"), "one long day would do");
    }

    #[test]
    fn a_browser_sees_no_line_that_only_a_terminal_can_follow() {
        let trouble = Trouble::refused("x").help("all: tallow visit").help("name another").help("or say so: --new");
        assert_eq!(of(&trouble).collect::<Vec<_>>(), ["name another"]);
    }
}
