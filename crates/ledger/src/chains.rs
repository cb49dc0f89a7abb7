//! Which entry stands: the newest correction of an entry replaces it wholly, or withdraws it.

use std::collections::HashMap;

use upkeep::EntryId;

/// The chains of corrections of one or more machines.
#[derive(Clone, Debug, Default)]
pub(crate) struct Chains {
    root_of: HashMap<EntryId, EntryId>,
    /// The corrections of each first entry, oldest first.
    corrections: HashMap<EntryId, Vec<EntryId>>,
}

impl Chains {
    /// Follows `corrections`, pairs of a correcting and a corrected entry, oldest first.
    pub(crate) fn new(corrections: impl IntoIterator<Item = (EntryId, EntryId)>) -> Chains {
        let mut chains = Chains::default();
        for (id, corrects) in corrections {
            let root = chains.root(corrects);
            chains.root_of.insert(id, root);
            chains.corrections.entry(root).or_default().push(id);
        }
        chains
    }

    /// The first entry of the chain that `id` belongs to.
    pub(crate) fn root(&self, id: EntryId) -> EntryId {
        self.root_of.get(&id).copied().unwrap_or(id)
    }

    /// The last entry of the chain that `id` belongs to.
    pub(crate) fn newest(&self, id: EntryId) -> EntryId {
        let root = self.root(id);
        self.corrections(root).last().copied().unwrap_or(root)
    }

    /// The corrections of the first entry of a chain, oldest first.
    pub(crate) fn corrections(&self, root: EntryId) -> &[EntryId] {
        self.corrections.get(&root).map_or(&[], Vec::as_slice)
    }

    /// Whether no later entry replaces `id`.
    pub(crate) fn is_newest(&self, id: EntryId) -> bool {
        self.newest(id) == id
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_correction_of_a_correction_replaces_the_first_entry() {
        let chains = Chains::new([(EntryId(5), EntryId(2)), (EntryId(8), EntryId(5)), (EntryId(9), EntryId(2))]);
        assert_eq!(chains.root(EntryId(8)), EntryId(2));
        assert_eq!(chains.newest(EntryId(5)), EntryId(9));
        assert_eq!(chains.corrections(EntryId(2)), [EntryId(5), EntryId(8), EntryId(9)]);
        assert!(chains.is_newest(EntryId(9)) && !chains.is_newest(EntryId(8)));
        assert!(chains.is_newest(EntryId(3)), "an entry that nothing corrects stands");
    }
}
