//! What oil is in an engine: the kind (straight mineral or ashless dispersant) and the SAE grade.
//!
//! Break-in oil is judged by kind, a baseline starts anew with another grade, and trade texts use
//! commercial numbers (100) beside SAE grades (50). SAE J1966 is the standard for non-dispersant
//! mineral oil, SAE J1899 for ashless dispersant oil.

use std::fmt;

use serde::{Deserialize, Serialize};

/// The kind of aviation piston-engine oil.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum OilFamily {
    /// Ashless dispersant, SAE J1899 (was MIL-L-22851).
    AshlessDispersant,
    /// Straight, non-dispersant mineral, SAE J1966 (was MIL-L-6082).
    Mineral,
}

/// An oil by kind and grade, for example `AD 20W-50`.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Oil {
    pub family: OilFamily,
    /// SAE grade, `50` or `20W-50`; empty where the log does not say.
    pub grade: String,
}

impl Oil {
    /// True for a multigrade such as 20W-50.
    pub fn multigrade(&self) -> bool {
        self.grade.contains('W')
    }

    /// Reads `AD 50`, `AD 20W-50`, `mineral 50`, `ashless dispersant 100` … (case and spacing free).
    /// Commercial numbers become SAE grades (65→30, 80→40, 100→50, 120→60; SAE J1966 AUG2011 Table 1).
    pub fn parse(text: &str) -> Option<Self> {
        let lower = text.trim().to_lowercase().replace(',', " ");
        let mut family = None;
        let mut grade = String::new();
        let words = lower
            .replace("ashless dispersant", "ad")
            .replace("ashless-dispersant", "ad")
            .replace("non-dispersant", "mineral")
            .replace("straight mineral", "mineral")
            .replace("w-", "w")
            .replace("w ", "w");
        for word in words.split([' ', '(', ')', '/', '-']).filter(|w| !w.is_empty()) {
            match word {
                "ad" | "j1899" | "dispersant" => family = Some(OilFamily::AshlessDispersant),
                "mineral" | "j1966" | "straight" => family = Some(OilFamily::Mineral),
                "sae" | "oil" | "grade" => {}
                other => grade = Self::grade(other)?,
            }
        }
        family.map(|family| Self { family, grade })
    }

    fn grade(word: &str) -> Option<String> {
        let number = |s: &str| s.parse::<u32>().ok().filter(|n| (5..=140).contains(n));
        if let Some((winter, hot)) = word.split_once('w') {
            return Some(format!("{}W-{}", number(winter)?, number(hot)?));
        }
        let sae = match number(word)? {
            65 => 30,
            80 => 40,
            100 => 50,
            120 => 60,
            n @ (20 | 30 | 40 | 50 | 60 | 70) => n,
            _ => return None,
        };
        Some(sae.to_string())
    }
}

impl fmt::Display for Oil {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self.family {
            OilFamily::AshlessDispersant => "AD",
            OilFamily::Mineral => "mineral",
        })?;
        if self.grade.is_empty() { Ok(()) } else { write!(f, " {}", self.grade) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str) -> Option<String> {
        Oil::parse(text).map(|o| o.to_string())
    }

    /// SAE J1966 AUG2011 Table 1 (mineral) and the table of SAE J1899 (ashless dispersant), which give the same pairs
    /// of commercial aviation number and SAE grade, and none for a multigrade. 140 is SAE 70 in the FAA handbook only
    /// (from memory) and is not read.
    #[test]
    fn commercial_numbers_are_sae_grades() {
        for family in ["mineral", "AD"] {
            for (commercial, sae) in [(65, 30), (80, 40), (100, 50), (120, 60)] {
                let wanted = Some(format!("{family} {sae}"));
                assert_eq!(shown(&format!("{family} {commercial}")), wanted);
                assert_eq!(shown(&format!("{family} {sae}")), wanted);
                assert_eq!(shown(&format!("{family} SAE {sae}")), wanted);
            }
            for none in [35, 45, 55, 90, 110, 130, 140] {
                assert_eq!(shown(&format!("{family} {none}")), None, "{family} {none}");
            }
        }
        assert_eq!(shown("AD 15W-50").as_deref(), Some("AD 15W-50"));
        assert!(Oil::parse("AD 15W-50").is_some_and(|o| o.multigrade()));
    }

    #[test]
    fn the_ways_people_write_it() {
        assert_eq!(shown("AD 50").as_deref(), Some("AD 50"));
        assert_eq!(shown("ad 20w-50").as_deref(), Some("AD 20W-50"));
        assert_eq!(shown("AD 20W50").as_deref(), Some("AD 20W-50"));
        assert_eq!(shown("Ashless dispersant SAE 50").as_deref(), Some("AD 50"));
        assert_eq!(shown("straight mineral 100").as_deref(), Some("mineral 50"));
        assert_eq!(shown("mineral").as_deref(), Some("mineral"));
        assert_eq!(shown("something else"), None);
        assert_eq!(shown("50"), None);
        assert_eq!(shown(""), None);
    }
}
