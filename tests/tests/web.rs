//! The pages of the real program over real connections: who comes in, and who does not.

#[path = "web/access.rs"]
mod access;
#[path = "web/attacks.rs"]
mod attacks;
#[path = "web/browser.rs"]
mod browser;
#[path = "web/commands.rs"]
mod commands;
#[path = "web/encrypted.rs"]
mod encrypted;
#[path = "web/gateway.rs"]
mod gateway;
#[path = "web/logbook.rs"]
mod logbook;
#[path = "web/programs.rs"]
mod programs;
