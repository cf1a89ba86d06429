//! A paper as PDF 1.7 (ISO 32000-1): our own line layout, embedded fonts, vector pictures, headings and pictures tagged.
//!
//! Decides layout only: every text comes from the paper's blocks, in their order. A page is as wide as A4 and as high as
//! Letter, so that it prints whole on both. The same paper gives the same bytes.

mod blocks;
mod draw;
mod face;
mod pages;
mod write;

use super::Paper;
use pages::Pages;

/// The paper as the bytes of a PDF file.
pub fn to_pdf(paper: &Paper) -> Vec<u8> {
    let mut pages = Pages::new();
    blocks::flow(paper, &mut pages);
    write::write(&paper.title, pages)
}
