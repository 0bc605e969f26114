//! Where values come from.

use std::fmt;
use std::path::PathBuf;

/// Where a value of a style came from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Origin {
    /// The rule itself.
    #[default]
    Rule,
    /// A style that comes with the program.
    Shipped(String),
    /// A house style file.
    File {
        /// The file.
        path: PathBuf,
        /// 1-based.
        line: usize,
    },
    /// An option of the command.
    Option(&'static str),
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Rule => f.write_str("built in"),
            Self::Shipped(name) => write!(f, "shipped style {name}"),
            Self::File { path, line } => write!(f, "{}:{line}", path.display()),
            Self::Option(name) => f.write_str(name),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_origin_says_where_to_look() {
        let file = Origin::File {
            path: PathBuf::from("band/chartproof.toml"),
            line: 3,
        };
        assert_eq!(file.to_string(), "band/chartproof.toml:3");
        assert_eq!(
            Origin::Shipped("choir".to_owned()).to_string(),
            "shipped style choir"
        );
        assert_eq!(Origin::default().to_string(), "built in");
        assert_eq!(Origin::Option("--technique").to_string(), "--technique");
    }
}
