//! The marking page: who may ask, what is kept whatever happens, and the page itself in a real browser.

mod browser;
mod door;
mod kept;
mod page;
mod served;
