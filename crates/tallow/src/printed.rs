//! What each tool printed, as people type it: a material for every tool, or `T0=ASA` once per tool.

use std::collections::BTreeMap;

use motion::Tool;
use upkeep::{Material, MaterialInfo, Materials, nearest};

use crate::trouble::Trouble;

/// What was said of the tools.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Printed {
    every: Option<MaterialInfo>,
    tools: BTreeMap<Tool, MaterialInfo>,
}

impl Printed {
    /// Reads the words of `--material`.
    ///
    /// # Errors
    /// A material that the shop does not know, a tool that can't be, and two words on one tool.
    pub(crate) fn parse(words: &[String], materials: &Materials) -> Result<Printed, Trouble> {
        let mut printed = Printed { every: None, tools: BTreeMap::new() };
        for word in words {
            let (tool, name) = match word.split_once('=') {
                Some((tool, name)) => (Some(tool_number(tool, name)?), name),
                None => (None, word.as_str()),
            };
            let info = known(name.trim(), materials)?;
            let before = match tool {
                Some(tool) => printed.tools.insert(tool, info),
                None => printed.every.replace(info),
            };
            if before.is_some() {
                let of = tool.map_or("every tool".to_owned(), |tool| format!("T{tool}"));
                return Err(Trouble::refused(format!("--material says twice what {of} printed")).help("say it once"));
            }
        }
        Ok(printed)
    }

    /// What each of `tools` printed, as far as it was said.
    ///
    /// # Errors
    /// A tool is named that is not among them; a material is left over.
    pub(crate) fn by_tool(&self, tools: &[Tool]) -> Result<BTreeMap<Tool, MaterialInfo>, Trouble> {
        if let Some(tool) = self.tools.keys().find(|tool| !tools.contains(tool)) {
            let used: Vec<String> = tools.iter().map(|tool| format!("T{tool}")).collect();
            return Err(Trouble::refused(format!("T{tool} prints nothing in this run"))
                .help(format!("it uses {}", used.join(", "))));
        }
        if let Some(every) =
            self.every.as_ref().filter(|_| !tools.is_empty() && tools.iter().all(|tool| self.tools.contains_key(tool)))
        {
            return Err(Trouble::refused(format!("--material {} is for no tool: each has its own", every.name))
                .help("leave it out"));
        }
        let of = |tool: &Tool| self.tools.get(tool).or(self.every.as_ref()).cloned();
        Ok(tools.iter().filter_map(|tool| Some((*tool, of(tool)?))).collect())
    }

    /// The one tool and its material, where no file tells which tools there are.
    ///
    /// # Errors
    /// Several tools.
    pub(crate) fn only(&self) -> Result<(Tool, MaterialInfo), Trouble> {
        match (&self.every, self.tools.iter().next()) {
            (Some(info), None) => Ok((0, info.clone())),
            (None, Some((tool, info))) if self.tools.len() == 1 => Ok((*tool, info.clone())),
            _ => Err(Trouble::refused("hours without a file can't be shared among several materials")
                .help("book each material's hours by themselves")),
        }
    }
}

/// The materials by name.
pub(crate) fn names(printed: &BTreeMap<Tool, MaterialInfo>) -> BTreeMap<Tool, Material> {
    printed.iter().map(|(&tool, info)| (tool, Material::new(&info.name))).collect()
}

/// The material called `name`.
///
/// # Errors
/// Where the shop knows none of that name.
pub(crate) fn known(name: &str, materials: &Materials) -> Result<MaterialInfo, Trouble> {
    if name.is_empty() {
        return Err(Trouble::refused("no material is named").help("say what was printed: --material PLA"));
    }
    materials.get(name).cloned().ok_or_else(|| {
        let trouble = Trouble::refused(format!("no material is called \"{name}\""));
        let trouble = match nearest(name, materials.iter().map(|info| info.name.as_str())) {
            Some(near) => trouble.help(format!("did you mean {near}?")),
            None => trouble,
        };
        trouble
            .help("all that are known: tallow material list")
            .help(format!("a new one: tallow material add \"{name}\" --density 1.24"))
    })
}

/// The number of the tool that `text` names, before `=` and `behind`.
fn tool_number(text: &str, behind: &str) -> Result<Tool, Trouble> {
    tool(text).ok_or_else(|| {
        let swapped = tool(behind).map(|_| format!("--material {}={}", behind.trim(), text.trim()));
        let right = swapped.unwrap_or_else(|| "--material T0=ASA".to_owned());
        Trouble::refused(format!("\"{text}\" is not a tool"))
            .help(format!("write T0, T1 and so on before the =: {right}"))
    })
}

fn tool(text: &str) -> Option<Tool> {
    text.trim().strip_prefix(['T', 't'])?.parse().ok().filter(|&tool| tool < 100)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(words: &[&str]) -> Result<Printed, Trouble> {
        let words: Vec<String> = words.iter().map(|word| (*word).to_owned()).collect();
        Printed::parse(&words, Materials::built_in())
    }

    #[test]
    fn one_material_serves_every_tool_but_those_named() {
        let printed = parse(&["petg", "T1=ASA"]).unwrap().by_tool(&[0, 1, 2]).unwrap();
        let names: Vec<&str> = printed.values().map(|info| info.name.as_str()).collect();
        assert_eq!(names, ["PETG", "ASA", "PETG"]);
    }

    #[test]
    fn slips_are_refused() {
        for words in [&["PLA", "PETG"][..], &["T0=PLA", "T0=PLA"], &["Tx=PLA"], &["T100=PLA"], &["PLAA"], &[""]] {
            assert!(parse(words).is_err(), "{words:?}");
        }
        assert!(parse(&["T3=PLA"]).unwrap().by_tool(&[0]).is_err());
        assert!(parse(&["PETG", "T0=PLA"]).unwrap().by_tool(&[0]).is_err());
    }
}
