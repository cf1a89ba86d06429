//! The pages a browser sees: the homeowner's, the technician's, and the login page, which asks for the token.
//!
//! Decides structure and wording of the pages; judges nothing, serves nothing. Every page works without script; the
//! script in [`ASSETS`] only keeps it fresh. Nothing stands inline, so a policy without `unsafe-inline` may be strict.
//! Meaning is in words and shapes, so it reads the same in grey, on paper and aloud ([WCAG22]: 1.1.1, 1.3.1, 1.4.1).

mod course;
mod home;
mod look;
mod speech;
mod standing;
mod technician;
mod week;
mod window;

pub use look::{Look, Window};

use super::words::{self, safe};
use maud::{DOCTYPE, Markup, html};

/// A file the pages ask for.
pub struct Asset {
    /// Its path on the server.
    pub path: &'static str,
    /// Its media type.
    pub media: &'static str,
    /// What is in it.
    pub body: &'static str,
}

/// The tick mark of the way a signal takes, in the ink of the page.
const ICON: &str = concat!(
    r##"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><rect width="32" height="32" fill="#f7f7f3"/>"##,
    r##"<path d="M16 3V29M7 16H25" fill="none" stroke="#17212e" stroke-width="3"/></svg>"##
);

/// Every file the pages ask for.
pub const ASSETS: &[Asset] = &[
    Asset {
        path: "/page.css",
        media: "text/css; charset=utf-8",
        body: concat!(include_str!("../base.css"), include_str!("page.css")),
    },
    Asset { path: "/icon.svg", media: "image/svg+xml", body: ICON },
    Asset { path: "/page.js", media: "text/javascript; charset=utf-8", body: include_str!("page.js") },
];

/// The homeowner's page, whole.
pub fn home(look: &Look<'_>) -> String {
    page(&Frame { title: home::title(look), view: "home", look: Some(look) }, &home::main(look))
}

/// What stands inside its `<main>`.
pub fn home_main(look: &Look<'_>) -> String {
    home::main(look).into_string()
}

/// The technician's view, whole; the lanes in the window, or all of the record.
pub fn technician(look: &Look<'_>, window: Option<Window>) -> String {
    let title = format!("{} – alarm path, technician", look.snapshot.verdict().kind.words());
    page(&Frame { title: &title, view: "technician", look: Some(look) }, &technician::main(look, window))
}

/// The page that asks for the token; `wrong` after one that was not right.
pub fn login(wrong: bool) -> String {
    let main = html! {
        section id="login" aria-labelledby="login-h" {
            h1 id="login-h" { "This page is closed" }
            p class="lead" { "Whoever set up this box has the token that opens it." }
            form method="post" action="/login" {
                @if wrong { p id="wrong" role="alert" { "That token does not fit. Look for missing or doubled characters." } }
                label for="token" { "Token" }
                input id="token" name="token" type="password" autocomplete="current-password" required
                    maxlength="200" autofocus aria-describedby=[wrong.then_some("wrong")] aria-invalid=[wrong.then_some("true")];
                button type="submit" { "Open" }
            }
        }
    };
    page(&Frame { title: "Closed – alarm path", view: "login", look: None }, &main)
}

struct Frame<'a> {
    title: &'a str,
    view: &'static str,
    look: Option<&'a Look<'a>>,
}

fn page(frame: &Frame<'_>, main: &Markup) -> String {
    let link = |view: &str, href: &str, words: &str| {
        html! { li { a href=(href) aria-current=[(view == frame.view).then_some("page")] { (words) } } }
    };
    let whole = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                meta name="format-detection" content="telephone=no";
                meta name="color-scheme" content="light dark";
                title { (frame.title) }
                link rel="icon" href="/icon.svg" type="image/svg+xml";
                link rel="stylesheet" href="/page.css";
                @if frame.look.is_some() { script src="/page.js" defer {} }
            }
            body data-view=(frame.view) {
                a class="skip" href="#main" { "To the answer" }
                header {
                    p class="kicker" {
                        "Alarm path" @if let Some(l) = frame.look { ", site " (safe(&l.snapshot.site)) }
                    }
                    @if frame.look.is_some() {
                        nav aria-label="Pages" { ul {
                            (link("home", "/", "For the household"))
                            (link("technician", "/technician", "For the technician"))
                        } }
                    }
                    p id="lost" role="alert" {}
                }
                main id="main" tabindex="-1" class=(frame.view) { (main) }
                footer { @if let Some(l) = frame.look { (foot(l)) } @else { p { "pathproof " (env!("CARGO_PKG_VERSION")) } } }
            }
        }
    };
    whole.into_string()
}

fn foot(l: &Look<'_>) -> Markup {
    let s = l.snapshot;
    html! {
        p id="fresh" { "Drawn " (words::full_time(s.wall(l.now_s), l.zone)) "; load the page again for news." }
        p { "pathproof " (safe(&s.version)) ". Burglary signalling only; not listed equipment." }
    }
}
