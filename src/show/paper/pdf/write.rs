//! The objects of the file: catalogue, structure, pages, fonts.

use super::face::Face;
use super::pages::{FONTS, Heads, PAGE, Pages, REGULAR, Role, SIDE, role};
use pdf_writer::types::{CidFontType, FontFlags, StructRole, SystemInfo, TableHeaderScope, UnicodeCmap};
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};

const ORDERING: SystemInfo = SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };

/// Writes the file.
pub(super) fn write(title: &str, mut pages: Pages) -> Vec<u8> {
    pages.close();
    let mut contents = std::mem::take(&mut pages.done);
    contents.push(std::mem::replace(&mut pages.content, Content::new()));
    let count = contents.len();
    let mut next = 1;
    let mut new = || {
        next += 1;
        Ref::new(next - 1)
    };
    let (catalog, tree, root, document, info) = (new(), new(), new(), new(), new());
    let page_refs: Vec<Ref> = (0..count).map(|_| new()).collect();
    let content_refs: Vec<Ref> = (0..count).map(|_| new()).collect();
    let mark_refs: Vec<Ref> = (0..count).map(|_| new()).collect();
    let piece_refs: Vec<Ref> = pages.pieces.iter().map(|_| new()).collect();
    let font_refs: [Ref; 2] = [new(), new()];
    let font_parts: [[Ref; 4]; 2] = [[new(), new(), new(), new()], [new(), new(), new(), new()]];

    let mut pdf = Pdf::new();
    let mut c = pdf.catalog(catalog);
    c.pages(tree).lang(TextStr("en"));
    c.mark_info().marked(true);
    c.viewer_preferences().display_doc_title(true);
    c.pair(Name(b"StructTreeRoot"), root);
    c.finish();
    pdf.document_info(info).title(TextStr(title)).producer(TextStr(concat!("pathproof ", env!("CARGO_PKG_VERSION"))));
    pdf.pages(tree).kids(page_refs.iter().copied()).count(count as i32);

    for (i, content) in contents.into_iter().enumerate() {
        let content = footer(content, i + 1, count, &mut pages.faces);
        let mut page = pdf.page(page_refs[i]);
        page.parent(tree).media_box(Rect::new(0.0, 0.0, PAGE[0], PAGE[1])).contents(content_refs[i]);
        page.struct_parents(i as i32);
        let mut resources = page.resources();
        let mut fonts = resources.fonts();
        for (name, font) in FONTS.iter().zip(font_refs) {
            fonts.pair(Name(name), font);
        }
        fonts.finish();
        resources.finish();
        page.finish();
        let bytes = deflate(content.finish().as_slice());
        pdf.stream(content_refs[i], &bytes).filter(Filter::FlateDecode);
    }
    structure(&mut pdf, &pages, [root, document], &piece_refs, [&page_refs, &mark_refs]);
    for (face, (font, parts)) in pages.faces.iter().zip(font_refs.into_iter().zip(font_parts)) {
        embed(&mut pdf, face, font, parts);
    }
    pdf.finish()
}

fn deflate(bytes: &[u8]) -> Vec<u8> {
    miniz_oxide::deflate::compress_to_vec_zlib(bytes, 9)
}

fn footer(mut content: Content, page: usize, of: usize, faces: &mut [Face; 2]) -> Content {
    let words = format!("{page} / {of}");
    let bytes = faces[REGULAR].encode(&words);
    let width = faces[REGULAR].width(&words, 8.0);
    content.begin_marked_content(Name(b"Artifact"));
    content.begin_text().set_font(Name(FONTS[REGULAR]), 8.0).set_fill_gray(0.3);
    content.set_text_matrix([1.0, 0.0, 0.0, 1.0, PAGE[0] - SIDE - width, 30.0]).show(Str(&bytes)).end_text();
    content.end_marked_content();
    content
}

/// The tags: one document, its pieces in reading order, and which mark of which page is which piece.
fn structure(pdf: &mut Pdf, pages: &Pages, [root, document]: [Ref; 2], pieces: &[Ref], [on, marked]: [&[Ref]; 2]) {
    let mut r = pdf.indirect(root).start::<pdf_writer::writers::StructTreeRoot>();
    r.child(document);
    let mut tree = r.parent_tree();
    let mut nums = tree.nums();
    for (i, marks) in marked.iter().enumerate() {
        nums.insert(i as i32, *marks);
    }
    nums.finish();
    tree.finish();
    r.parent_tree_next_key(pages.marks.len() as i32);
    r.finish();
    for (marks, id) in pages.marks.iter().zip(marked) {
        pdf.indirect(*id).array().items(marks.iter().map(|piece| pieces[*piece]));
    }
    let mut held: Vec<Vec<Ref>> = vec![Vec::new(); pieces.len()];
    let mut alone = Vec::new();
    for (piece, id) in pages.pieces.iter().zip(pieces) {
        piece.within.map_or(&mut alone, |by| &mut held[by]).push(*id);
    }
    let mut d = pdf.struct_element(document);
    d.kind(StructRole::Document).parent(root);
    let mut children = d.children();
    for id in alone {
        children.struct_element(id);
    }
    children.finish();
    d.finish();
    for (n, (piece, id)) in pages.pieces.iter().zip(pieces).enumerate() {
        let mut e = pdf.struct_element(*id);
        e.kind(role(&piece.role));
        e.parent(piece.within.map_or(document, |by| pieces[by]));
        match &piece.role {
            Role::Figure(description) => drop(e.alt(TextStr(description))),
            Role::Head(of) => {
                let scope = if *of == Heads::Row { TableHeaderScope::Row } else { TableHeaderScope::Column };
                e.attributes().push().table().scope(scope);
            }
            _ => {}
        }
        let mut children = e.children();
        for (page, mark) in &piece.parts {
            children.marked_content_ref().page(on[*page]).marked_content_id(*mark);
        }
        for id in &held[n] {
            children.struct_element(*id);
        }
        children.finish();
        e.finish();
    }
}

/// A font: composite, glyphs by their own number, the file inside, and which glyph is which character.
fn embed(pdf: &mut Pdf, face: &Face, font: Ref, [cid, descriptor, file, cmap]: [Ref; 4]) {
    let name = format!("PATHPR+{}", face.name);
    let name = Name(name.as_bytes());
    pdf.type0_font(font).base_font(name).encoding_predefined(Name(b"Identity-H")).descendant_font(cid).to_unicode(cmap);
    let mut c = pdf.cid_font(cid);
    c.subtype(CidFontType::Type2).base_font(name).system_info(ORDERING).font_descriptor(descriptor);
    c.cid_to_gid_map_predefined(Name(b"Identity"));
    let mut widths = c.widths();
    for glyph in face.used.keys() {
        widths.consecutive(*glyph, [face.advance(*glyph)]);
    }
    widths.finish();
    c.finish();
    let ([x0, y0, x1, y1], up, down, capitals) = face.measures();
    pdf.font_descriptor(descriptor)
        .name(name)
        .flags(FontFlags::NON_SYMBOLIC)
        .bbox(Rect::new(x0, y0, x1, y1))
        .italic_angle(0.0)
        .ascent(up)
        .descent(down)
        .cap_height(capitals)
        .stem_v(80.0)
        .font_file2(file);
    let bytes = face.embedded();
    let packed = deflate(&bytes);
    pdf.stream(file, &packed).filter(Filter::FlateDecode).pair(Name(b"Length1"), bytes.len() as i32);
    let mut map = UnicodeCmap::new(Name(b"Custom"), ORDERING);
    for (glyph, c) in &face.used {
        map.pair(*glyph, *c);
    }
    let map = map.finish();
    pdf.cmap(cmap, map.as_slice());
}
