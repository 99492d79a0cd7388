//! The desk: its interface without a socket, attacks on the running program, and a real browser.

mod attacks;
mod browser;
mod driver;
mod interface;
mod wire;
