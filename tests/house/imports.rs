//! Which file of `src` uses what another file defines, told from the source alone.
//!
//! Follows `use`, paths in code and in macros, and re-exports down to the file that defines a name. A re-export by itself
//! is no import: it gives a name, it does not use it. Code under `#[cfg(test)]` is left out. Does not see which methods
//! are called; a type is met where it is named.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use syn::visit::{self, Visit};

/// From file to the files whose definitions it uses; paths below `src`.
pub(crate) type Imports = BTreeMap<String, BTreeSet<String>>;

#[derive(Default)]
struct Module {
    parent: Option<usize>,
    file: String,
    children: BTreeMap<String, usize>,
    defines: BTreeSet<String>,
    /// Name -> path, as written.
    bindings: BTreeMap<String, Vec<String>>,
    globs: Vec<Vec<String>>,
    /// Paths used in the code, `use` of what is not re-exported among them.
    paths: Vec<Vec<String>>,
}

/// Where a path leads.
#[derive(Clone, Copy, PartialEq)]
enum Leads {
    Module(usize),
    /// A definition in that module.
    Item(usize),
}

struct Tree {
    modules: Vec<Module>,
}

/// Reads the library below `src`.
pub(crate) fn read(src: &Path) -> Imports {
    let mut tree = Tree { modules: Vec::new() };
    tree.read_file(src, &src.join("lib.rs"), None, src);
    let mut imports = Imports::new();
    for (at, module) in tree.modules.iter().enumerate() {
        let from = imports.entry(module.file.clone()).or_default();
        for path in &module.paths {
            if let Some(Leads::Item(to)) = tree.resolve(at, path, 0)
                && tree.modules[to].file != module.file
            {
                from.insert(tree.modules[to].file.clone());
            }
        }
    }
    imports
}

/// Circles: sets of more than one file that all reach each other, each in order.
pub(crate) fn circles(imports: &Imports) -> Vec<Vec<String>> {
    let reach: BTreeMap<&String, BTreeSet<&String>> = imports
        .keys()
        .map(|from| {
            let (mut seen, mut open) = (BTreeSet::new(), vec![from]);
            while let Some(at) = open.pop() {
                open.extend(imports.get(at).into_iter().flatten().filter(|to| seen.insert(*to)));
            }
            (from, seen)
        })
        .collect();
    let mut found = BTreeSet::new();
    for (from, seen) in &reach {
        if seen.contains(*from) {
            let circle = seen.iter().filter(|to| reach.get(**to).is_some_and(|back| back.contains(*from)));
            found.insert(circle.map(|f| (*f).clone()).collect::<Vec<_>>());
        }
    }
    found.into_iter().collect()
}

fn for_tests(attrs: &[syn::Attribute]) -> bool {
    attrs.iter().any(|a| a.path().is_ident("cfg") && a.parse_args::<syn::Ident>().is_ok_and(|i| i == "test"))
}

fn told_path(attrs: &[syn::Attribute]) -> Option<String> {
    attrs.iter().filter(|a| a.path().is_ident("path")).find_map(|a| match &a.meta {
        syn::Meta::NameValue(syn::MetaNameValue {
            value: syn::Expr::Lit(syn::ExprLit { lit: syn::Lit::Str(s), .. }),
            ..
        }) => Some(s.value()),
        _ => None,
    })
}

impl Tree {
    /// Reads a file as a module; `folder` holds its children.
    fn read_file(&mut self, src: &Path, file: &Path, parent: Option<usize>, folder: &Path) -> usize {
        let text = std::fs::read_to_string(file).unwrap_or_else(|e| panic!("{}: {e}", file.display()));
        let parsed = syn::parse_file(&text).unwrap_or_else(|e| panic!("{}: {e}", file.display()));
        let name = file.strip_prefix(src).expect("under src").to_string_lossy().into_owned();
        let at = self.add(parent, name);
        self.read_items(src, &parsed.items, at, folder, file);
        at
    }

    fn add(&mut self, parent: Option<usize>, file: String) -> usize {
        self.modules.push(Module { parent, file, ..Module::default() });
        self.modules.len() - 1
    }

    fn read_items(&mut self, src: &Path, items: &[syn::Item], at: usize, folder: &Path, file: &Path) {
        for item in items {
            let named = match item {
                syn::Item::Const(i) => Some((&i.attrs, &i.ident)),
                syn::Item::Enum(i) => Some((&i.attrs, &i.ident)),
                syn::Item::Fn(i) => Some((&i.attrs, &i.sig.ident)),
                syn::Item::Static(i) => Some((&i.attrs, &i.ident)),
                syn::Item::Struct(i) => Some((&i.attrs, &i.ident)),
                syn::Item::Trait(i) => Some((&i.attrs, &i.ident)),
                syn::Item::Type(i) => Some((&i.attrs, &i.ident)),
                syn::Item::Union(i) => Some((&i.attrs, &i.ident)),
                _ => None,
            };
            match item {
                syn::Item::Mod(m) if for_tests(&m.attrs) => {}
                syn::Item::Mod(m) => {
                    let name = m.ident.to_string();
                    let child = if let Some((_, items)) = &m.content {
                        let child = self.add(Some(at), self.modules[at].file.clone());
                        self.read_items(src, items, child, &folder.join(&name), file);
                        child
                    } else {
                        let beside = file.parent().expect("a file lies in a folder");
                        let told = told_path(&m.attrs).map(|p| beside.join(p));
                        let flat = folder.join(format!("{name}.rs"));
                        let nested = || if flat.exists() { flat.clone() } else { folder.join(&name).join("mod.rs") };
                        self.read_file(src, &told.unwrap_or_else(nested), Some(at), &folder.join(&name))
                    };
                    self.modules[at].children.insert(name, child);
                }
                syn::Item::Use(u) if !for_tests(&u.attrs) => {
                    let again = !matches!(u.vis, syn::Visibility::Inherited);
                    self.read_use(&u.tree, &mut Vec::new(), at, again);
                }
                _ => {
                    let attrs = named.map(|(attrs, _)| attrs.as_slice()).unwrap_or_default();
                    if let (Some((_, ident)), false) = (named, for_tests(attrs)) {
                        self.modules[at].defines.insert(ident.to_string());
                    }
                    Paths(&mut self.modules[at]).visit_item(item);
                }
            }
        }
    }

    fn read_use(&mut self, tree: &syn::UseTree, before: &mut Vec<String>, at: usize, again: bool) {
        let mut bind = |name: String, path: Vec<String>| {
            if !again {
                self.modules[at].paths.push(path.clone());
            }
            self.modules[at].bindings.insert(name, path);
        };
        match tree {
            syn::UseTree::Path(p) => {
                before.push(p.ident.to_string());
                self.read_use(&p.tree, before, at, again);
                before.pop();
            }
            syn::UseTree::Name(n) if n.ident == "self" => {
                bind(before.last().cloned().unwrap_or_default(), before.clone());
            }
            syn::UseTree::Name(n) => {
                let path = before.iter().cloned().chain([n.ident.to_string()]).collect();
                bind(n.ident.to_string(), path);
            }
            syn::UseTree::Rename(r) => {
                let path = before.iter().cloned().chain([r.ident.to_string()]).collect();
                bind(r.rename.to_string(), path);
            }
            syn::UseTree::Glob(_) => self.modules[at].globs.push(before.clone()),
            syn::UseTree::Group(g) => g.items.iter().for_each(|t| self.read_use(t, before, at, again)),
        }
    }

    /// Where a path written in a module leads; `None` outside the crate.
    fn resolve(&self, at: usize, path: &[String], depth: usize) -> Option<Leads> {
        let (first, rest) = path.split_first()?;
        if depth > 24 {
            return None;
        }
        match first.as_str() {
            "crate" => self.down(0, rest, depth),
            "self" | "Self" => self.down(at, rest, depth),
            "super" => self.down(self.modules[at].parent?, rest, depth),
            _ => self.down(at, path, depth),
        }
    }

    fn down(&self, at: usize, path: &[String], depth: usize) -> Option<Leads> {
        let Some((first, rest)) = path.split_first() else { return Some(Leads::Module(at)) };
        let module = &self.modules[at];
        if first == "super" {
            return self.down(module.parent?, rest, depth);
        }
        if first == "self" {
            return self.down(at, rest, depth);
        }
        if let Some(child) = module.children.get(first) {
            return self.down(*child, rest, depth);
        }
        if module.defines.contains(first) {
            return Some(Leads::Item(at));
        }
        if let Some(bound) = module.bindings.get(first) {
            // `use x::{self}` and `use name` of a crate outside bind a name to itself.
            if bound.first() == Some(first) && bound.len() == 1 {
                return None;
            }
            let whole: Vec<String> = bound.iter().chain(rest).cloned().collect();
            return self.resolve(at, &whole, depth + 1);
        }
        module.globs.iter().find_map(|glob| {
            // A glob over an enum gives variants: that path ends in an item.
            let Leads::Module(there) = self.resolve(at, glob, depth + 1)? else { return None };
            self.down(there, path, depth + 1)
        })
    }
}

/// Gathers the paths written in an item.
struct Paths<'a>(&'a mut Module);

impl<'ast> Visit<'ast> for Paths<'_> {
    fn visit_path(&mut self, path: &'ast syn::Path) {
        self.0.paths.push(path.segments.iter().map(|s| s.ident.to_string()).collect());
        visit::visit_path(self, path);
    }

    fn visit_item(&mut self, item: &'ast syn::Item) {
        let attrs = match item {
            syn::Item::Impl(i) => &i.attrs,
            syn::Item::Fn(i) => &i.attrs,
            syn::Item::Const(i) => &i.attrs,
            syn::Item::Mod(i) => &i.attrs,
            syn::Item::Use(i) => {
                self.0.paths.extend(leaves(&i.tree, &[]));
                return;
            }
            _ => return visit::visit_item(self, item),
        };
        if !for_tests(attrs) {
            visit::visit_item(self, item);
        }
    }

    fn visit_impl_item_fn(&mut self, f: &'ast syn::ImplItemFn) {
        if !for_tests(&f.attrs) {
            visit::visit_impl_item_fn(self, f);
        }
    }

    /// What a macro is given is read word by word.
    fn visit_macro(&mut self, mac: &'ast syn::Macro) {
        self.visit_path(&mac.path);
        let text = mac.tokens.to_string();
        let mut path: Vec<String> = Vec::new();
        let mut joined = false;
        for word in words(&text) {
            if word == "::" {
                joined = true;
                continue;
            }
            if !joined && !path.is_empty() {
                self.0.paths.push(std::mem::take(&mut path));
            }
            if word.starts_with(|c: char| c.is_alphabetic() || c == '_') {
                path.push(word.to_owned());
            }
            joined = false;
        }
        if !path.is_empty() {
            self.0.paths.push(path);
        }
    }
}

/// Paths a `use` inside a function names.
fn leaves(tree: &syn::UseTree, before: &[String]) -> Vec<Vec<String>> {
    let with = |i: &syn::Ident| before.iter().cloned().chain([i.to_string()]).collect::<Vec<_>>();
    match tree {
        syn::UseTree::Path(p) => leaves(&p.tree, &with(&p.ident)),
        syn::UseTree::Name(n) => vec![with(&n.ident)],
        syn::UseTree::Rename(r) => vec![with(&r.ident)],
        syn::UseTree::Glob(_) => vec![before.to_vec()],
        syn::UseTree::Group(g) => g.items.iter().flat_map(|t| leaves(t, before)).collect(),
    }
}

/// Words, `::` and single marks of a text of tokens; strings are passed over.
fn words(text: &str) -> Vec<&str> {
    let (bytes, mut out, mut at) = (text.as_bytes(), Vec::new(), 0);
    let in_word = |b: u8| b.is_ascii_alphanumeric() || b == b'_';
    while at < bytes.len() {
        let from = at;
        match bytes[at] {
            b'"' => {
                at += 1;
                while at < bytes.len() && bytes[at] != b'"' {
                    at += if bytes[at] == b'\\' { 2 } else { 1 };
                }
                at += 1;
                continue;
            }
            b':' if bytes.get(at + 1) == Some(&b':') => at += 2,
            b if in_word(b) => {
                while at < bytes.len() && in_word(bytes[at]) {
                    at += 1;
                }
            }
            b if b.is_ascii_whitespace() || !b.is_ascii() => {
                at += 1;
                continue;
            }
            _ => at += 1,
        }
        out.push(&text[from..at]);
    }
    out
}
