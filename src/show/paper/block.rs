//! Blocks: the pieces that every document is made of.
//!
//! Decides what there is, and that every text in it is harmless wherever it is shown: the builder escapes all of it,
//! whoever wrote it.

use crate::show::escape;
use crate::show::picture::Picture;
use serde::Serialize;

/// A piece of a document.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "block")]
pub enum Block {
    /// A heading: 2 for a part, 3 for a piece of it.
    Heading {
        /// Its rank.
        level: u8,
        /// Its mark in the document, of a part.
        #[serde(skip)]
        id: String,
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

/// Blocks in reading order, and their builder.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
#[serde(transparent)]
pub struct Blocks(pub Vec<Block>);

impl Blocks {
    /// A part begins; `id` marks it in the document and is one word.
    pub fn part(&mut self, id: &str, text: &str) -> &mut Self {
        self.push(Block::Heading { level: 2, id: id.to_owned(), text: escape::terminal(text) })
    }

    /// A piece of a part begins.
    pub fn piece(&mut self, text: &str) -> &mut Self {
        self.push(Block::Heading { level: 3, id: String::new(), text: escape::terminal(text) })
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
        self.0.push(block);
        self
    }

    /// The same with at most `most` rows or items in each block, and how many more there are.
    #[must_use]
    pub fn at_most(mut self, most: usize) -> Self {
        let more = |n: usize| format!("{} more are in the API.", n - most);
        for b in &mut self.0 {
            match b {
                Block::List { items } if items.len() > most => {
                    let more = more(items.len());
                    items.truncate(most);
                    items.push(more);
                }
                Block::Pairs { pairs } if pairs.len() > most => {
                    let more = more(pairs.len());
                    pairs.truncate(most);
                    pairs.push(("And".to_owned(), more));
                }
                Block::Table { caption, rows, .. } if rows.len() > most => {
                    *caption = format!("{caption} {}", more(rows.len()));
                    rows.truncate(most);
                }
                _ => {}
            }
        }
        self
    }

    /// Every text in reading order.
    pub fn texts(&self) -> Vec<&str> {
        let mut out: Vec<&str> = Vec::new();
        for b in &self.0 {
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
