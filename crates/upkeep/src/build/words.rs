//! The words that builds and screens use for the fixed choices.

use std::fmt;

use super::{Axis, Neglect, SignalWord, State, Work};

/// Gives a type of a few choices its words: a list of all, a name for each, and how it prints.
macro_rules! words {
    ($type:ident, $count:literal, $($variant:ident => $word:literal),*) => {
        impl $type {
            /// Every choice, in order.
            pub const ALL: [$type; $count] = [$($type::$variant),*];

            /// The word that builds and screens use.
            pub const fn name(self) -> &'static str {
                match self { $($type::$variant => $word),* }
            }
        }

        impl fmt::Display for $type {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(self.name())
            }
        }
    };
}

words!(Axis, 3, X => "x", Y => "y", Z => "z");
words!(State, 3, Isolated => "isolated", Cold => "cold", Hot => "hot");
words!(Neglect, 4, Nuisance => "nuisance", FailedPrint => "failed print", Damage => "damage", Injury => "injury");
words!(SignalWord, 4, Danger => "danger", Warning => "warning", Caution => "caution", Notice => "notice");
words!(Work, 7, Clean => "clean", Look => "look", Replace => "replace", Adjust => "adjust", Lubricate => "lubricate", Calibrate => "calibrate", Test => "test");
