//! Papers: documents people act on, built once from a snapshot as blocks and rendered alike as HTML, text and JSON.
//!
//! Decides what a paper is made of, and that every text in it is harmless wherever it is shown: the builder escapes all
//! of it, whoever wrote it. Renderers add layout only, so that the forms of one paper can't disagree.

mod html;
mod json;
pub mod letter;
mod mask;
mod pdf;
pub mod survey_record;
mod text;
pub mod ticket;
mod window;

pub use html::to_html;
pub use json::to_json;
pub use pdf::to_pdf;
pub use text::to_text;
pub use window::{Bout, Window};

use super::escape;
use super::picture::Picture;
use crate::judge::WallTime;
use crate::snapshot::Snapshot;
use jiff::tz::TimeZone;
use serde::Serialize;

/// Version of the papers' JSON, its `format` field.
pub const FORMAT: u32 = 1;

/// What a paper is built from. Everything in it is told, nothing is looked up.
#[derive(Clone, Copy, Debug)]
pub struct Given<'a> {
    /// The evidence.
    pub snapshot: &'a Snapshot,
    /// The zone in which times are told.
    pub zone: &'a TimeZone,
    /// Where the evidence comes from.
    pub origin: &'a Origin,
}

/// Where the evidence of a paper comes from, as far as it is known.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Origin {
    /// The record's file, as its user names it.
    pub record: Option<String>,
    /// SHA-256 of that file's bytes (FIPS 180-4), hexadecimal.
    pub sha256: Option<String>,
    /// SHA-256 of the plan the record was made by, hexadecimal.
    pub plan_sha256: Option<String>,
    /// Start of the kernel's boot id at the last session: enough to tell two boots apart.
    pub boot: Option<String>,
    /// When the paper is made.
    pub made: Option<WallTime>,
    /// Whether what is personal (addresses) is shown as it is.
    pub unmasked: bool,
}

/// Which paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// One page for the homeowner.
    Letter,
    /// For the dealer: each outage and each lasting condition.
    Ticket,
    /// For the customer file.
    SurveyRecord,
}

/// A document.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Paper {
    /// [`FORMAT`].
    pub format: u32,
    /// Which.
    pub paper: Kind,
    /// A line over the title: what this is.
    pub kicker: String,
    /// Its title.
    pub title: String,
    /// What stands in it, in order.
    pub blocks: Vec<Block>,
    /// The same as fields for programs, where the paper has any.
    #[serde(skip_serializing_if = "serde_json::Value::is_null")]
    pub data: serde_json::Value,
}

/// A piece of a document.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "block")]
pub enum Block {
    /// A heading: 2 for a part, 3 for a piece of it.
    Heading {
        /// Its rank.
        level: u8,
        /// Its words.
        text: String,
    },
    /// What must be read first, in larger type.
    Lead {
        /// Its words.
        text: String,
    },
    /// A paragraph.
    Say {
        /// Its words.
        text: String,
    },
    /// A list.
    List {
        /// One entry a line.
        items: Vec<String>,
    },
    /// Names and what they are.
    Pairs {
        /// One row each.
        pairs: Vec<(String, String)>,
    },
    /// A table; the first cell of a row names it.
    Table {
        /// What it shows.
        caption: String,
        /// Names of the columns.
        head: Vec<String>,
        /// Rows, each as long as the head.
        rows: Vec<Vec<String>>,
    },
    /// A picture, with its description.
    Picture(Picture),
    /// Lines to be copied as they stand.
    Verbatim {
        /// The lines.
        lines: Vec<String>,
    },
    /// Places to tick and to sign.
    Sign {
        /// What is signed for.
        choices: Vec<String>,
        /// Who signs.
        who: Vec<String>,
    },
    /// A new page where there are pages.
    PageBreak,
}

impl Paper {
    /// An empty paper.
    pub fn new(paper: Kind, kicker: &str, title: &str) -> Self {
        Self {
            format: FORMAT,
            paper,
            kicker: escape::terminal(kicker),
            title: escape::terminal(title),
            blocks: Vec::new(),
            data: serde_json::Value::Null,
        }
    }

    /// A part begins.
    pub fn part(&mut self, text: &str) -> &mut Self {
        self.push(Block::Heading { level: 2, text: escape::terminal(text) })
    }

    /// A piece of a part begins.
    pub fn piece(&mut self, text: &str) -> &mut Self {
        self.push(Block::Heading { level: 3, text: escape::terminal(text) })
    }

    /// What must be read first.
    pub fn lead(&mut self, text: &str) -> &mut Self {
        self.push(Block::Lead { text: escape::terminal(text) })
    }

    /// A paragraph; an empty one is left out.
    pub fn say(&mut self, text: impl AsRef<str>) -> &mut Self {
        let text = escape::terminal(text.as_ref());
        if text.is_empty() { self } else { self.push(Block::Say { text }) }
    }

    /// A list; an empty one is left out.
    pub fn list<T: AsRef<str>>(&mut self, items: impl IntoIterator<Item = T>) -> &mut Self {
        let items: Vec<String> = items.into_iter().map(|i| escape::terminal(i.as_ref())).collect();
        if items.is_empty() { self } else { self.push(Block::List { items }) }
    }

    /// Names and what they are; none at all is left out.
    pub fn pairs<K: AsRef<str>, V: AsRef<str>>(&mut self, pairs: impl IntoIterator<Item = (K, V)>) -> &mut Self {
        let pairs: Vec<_> =
            pairs.into_iter().map(|(k, v)| (escape::terminal(k.as_ref()), escape::terminal(v.as_ref()))).collect();
        if pairs.is_empty() { self } else { self.push(Block::Pairs { pairs }) }
    }

    /// A table; one without rows is left out.
    pub fn table(&mut self, caption: &str, head: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> &mut Self {
        let cells = |row: Vec<String>| row.iter().map(|c| escape::terminal(c)).collect::<Vec<_>>();
        let rows: Vec<Vec<String>> = rows.into_iter().map(cells).collect();
        debug_assert!(rows.iter().all(|r| r.len() == head.len()), "{caption}: a row that does not fit its head");
        if rows.is_empty() {
            return self;
        }
        let head = head.iter().map(|h| escape::terminal(h)).collect();
        self.push(Block::Table { caption: escape::terminal(caption), head, rows })
    }

    /// A picture, where there is one.
    pub fn picture(&mut self, picture: Option<Picture>) -> &mut Self {
        match picture {
            Some(p) => self.push(Block::Picture(Picture {
                title: escape::terminal(&p.title),
                description: escape::terminal(&p.description),
                ..p
            })),
            None => self,
        }
    }

    /// Lines to be copied.
    pub fn verbatim<T: AsRef<str>>(&mut self, lines: impl IntoIterator<Item = T>) -> &mut Self {
        let lines: Vec<String> = lines.into_iter().map(|i| escape::terminal(i.as_ref())).collect();
        if lines.is_empty() { self } else { self.push(Block::Verbatim { lines }) }
    }

    /// Places to tick and to sign.
    pub fn sign(&mut self, choices: &[&str], who: &[&str]) -> &mut Self {
        let own = |all: &[&str]| all.iter().map(|t| escape::terminal(t)).collect();
        self.push(Block::Sign { choices: own(choices), who: own(who) })
    }

    /// A new page begins.
    pub fn page(&mut self) -> &mut Self {
        self.push(Block::PageBreak)
    }

    fn push(&mut self, block: Block) -> &mut Self {
        self.blocks.push(block);
        self
    }

    /// Every text of the paper, in reading order: what each of its forms must show.
    pub fn texts(&self) -> Vec<&str> {
        let mut out = vec![self.kicker.as_str(), self.title.as_str()];
        for b in &self.blocks {
            match b {
                Block::Heading { text, .. } | Block::Lead { text } | Block::Say { text } => out.push(text),
                Block::List { items } | Block::Verbatim { lines: items } => {
                    out.extend(items.iter().map(String::as_str));
                }
                Block::Pairs { pairs } => out.extend(pairs.iter().flat_map(|(k, v)| [k.as_str(), v.as_str()])),
                Block::Table { caption, head, rows } => {
                    out.push(caption);
                    out.extend(head.iter().chain(rows.iter().flatten()).map(String::as_str));
                }
                Block::Picture(p) => out.extend([p.title.as_str(), &p.description]),
                Block::Sign { choices, who } => out.extend(choices.iter().chain(who).map(String::as_str)),
                Block::PageBreak => {}
            }
        }
        out
    }
}
