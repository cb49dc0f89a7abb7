//! The keys `after`, `apart` and `with` of tasks, looked at together.

use super::raw::{Section, Value};

/// A task's word about another one.
struct Tie<'a> {
    /// The task that says it.
    from: usize,
    /// The task that it names.
    to: usize,
    /// Where.
    value: Value<'a>,
}

/// Notes cycles of `after`, and tasks that are to be done both together and apart. `names` are those of `sections`, all of
/// which could be read.
pub(super) fn check(sections: &[Section<'_>], names: &[String]) {
    let groups = groups(names.len(), &ties(sections, names, "with"));
    let after = ties(sections, names, "after");
    let alone: Vec<usize> = (0..names.len()).collect();
    if no_cycles(&after, names, &alone) {
        no_cycles(&after, names, &groups);
    }
    for tie in ties(sections, names, "apart").iter().filter(|tie| groups[tie.from] == groups[tie.to]) {
        let (one, other) = (&names[tie.from], &names[tie.to]);
        let found = match tie.from == tie.to {
            true => format!("\"{one}\" cannot be apart from itself"),
            false => format!("\"{one}\" and \"{other}\" are to be done always in one visit and never in one"),
        };
        tie.value.refuse(found, "take the name out of \"with\" or out of \"apart\"");
    }
}

fn ties<'a>(sections: &[Section<'a>], names: &[String], key: &'static str) -> Vec<Tie<'a>> {
    let said = |(from, section): (usize, &Section<'a>)| {
        let items = section.get(key).and_then(|value| value.list()).unwrap_or_default();
        items.into_iter().map(move |value| (from, value)).collect::<Vec<_>>()
    };
    let named = |(from, value): (usize, Value<'a>)| {
        let to = names.iter().position(|name| Some(name.as_str()) == value.as_str())?;
        Some(Tie { from, to, value })
    };
    sections.iter().enumerate().flat_map(said).filter_map(named).collect()
}

/// For each task the number of its group: those tied by `with`, directly or through others.
fn groups(n_tasks: usize, with: &[Tie<'_>]) -> Vec<usize> {
    let mut groups: Vec<usize> = (0..n_tasks).collect();
    for tie in with {
        let (kept, gone) = (groups[tie.from], groups[tie.to]);
        groups.iter_mut().filter(|group| **group == gone).for_each(|group| *group = kept);
    }
    groups
}

/// Notes each tie by which a group would have to come after itself; whether there is none. Ties within a group of several
/// tasks say nothing of its place.
fn no_cycles(after: &[Tie<'_>], names: &[String], groups: &[usize]) -> bool {
    let is_within = |tie: &&Tie<'_>| tie.from != tie.to && groups[tie.from] == groups[tie.to];
    let mut sound: Vec<[usize; 2]> = Vec::new();
    let mut none = true;
    for tie in after.iter().filter(|tie| !is_within(tie)) {
        match path(groups[tie.to], groups[tie.from], &sound) {
            Some(path) => {
                let chain: Vec<String> =
                    path.iter().map(|&group| format!("\"{}\"", first_of(group, groups, names))).collect();
                let found =
                    format!("\"{}\" would come after itself: after {}", names[tie.from], chain.join(", after "));
                tie.value.refuse(found, "take one of these out of \"after\"; tasks tied by \"with\" count as one");
                none = false;
            }
            None => sound.push([groups[tie.from], groups[tie.to]]),
        }
    }
    none
}

/// The name of the first task in a group.
fn first_of<'n>(group: usize, groups: &[usize], names: &'n [String]) -> &'n str {
    groups.iter().position(|other| *other == group).map_or("", |task| &names[task])
}

/// A way along `edges`, each from one to another, both ends included.
fn path(from: usize, to: usize, edges: &[[usize; 2]]) -> Option<Vec<usize>> {
    let mut ways = vec![vec![from]];
    let mut seen = vec![from];
    while let Some(way) = ways.pop() {
        let end = way[way.len() - 1];
        if end == to {
            return Some(way);
        }
        for &[_, next] in edges.iter().filter(|[start, _]| *start == end) {
            if !seen.contains(&next) {
                seen.push(next);
                ways.push([way.as_slice(), &[next]].concat());
            }
        }
    }
    None
}
