//! Ids of quantities and materials, by which the binary columns name them.

use std::collections::HashMap;

use motion::Quantity;
use upkeep::Material;

/// Both tables of names, as read from the database. Ids are small and never reused.
#[derive(Clone, Debug, Default)]
pub(crate) struct Names {
    quantities: Vec<Option<Quantity>>,
    materials: Vec<Option<Material>>,
    material_ids: HashMap<Material, u64>,
}

impl Names {
    /// Puts a quantity under its id.
    pub(crate) fn set_quantity(&mut self, id: usize, quantity: Quantity) {
        put(&mut self.quantities, id, quantity);
    }

    /// Puts a material under its id.
    pub(crate) fn set_material(&mut self, id: usize, material: Material) {
        put(&mut self.materials, id, material.clone());
        self.material_ids.insert(material, id as u64);
    }

    /// The quantity of that id.
    pub(crate) fn quantity(&self, id: usize) -> Option<Quantity> {
        self.quantities.get(id).copied().flatten()
    }

    /// Every quantity with its id, by id.
    pub(crate) fn quantities(&self) -> impl Iterator<Item = (usize, Quantity)> + '_ {
        self.quantities.iter().enumerate().filter_map(|(id, quantity)| quantity.map(|quantity| (id, quantity)))
    }

    /// The material of that id.
    pub(crate) fn material(&self, id: u64) -> Option<&Material> {
        self.materials.get(usize::try_from(id).ok()?)?.as_ref()
    }

    /// Whether the material has an id.
    pub(crate) fn knows(&self, material: &Material) -> bool {
        self.material_ids.contains_key(material)
    }

    /// The material's id.
    ///
    /// # Panics
    /// Where the material has none: the ledger gives every material of an entry its id before it encodes the entry.
    pub(crate) fn material_id(&self, material: &Material) -> u64 {
        self.material_ids[material]
    }
}

fn put<T: Clone>(list: &mut Vec<Option<T>>, id: usize, value: T) {
    if list.len() <= id {
        list.resize(id + 1, None);
    }
    list[id] = Some(value);
}
