//! The pages of the real program over real connections: who comes in and who does not, and what each person does
//! there in a real browser.

#[path = "web/access.rs"]
mod access;
#[path = "web/attacks.rs"]
mod attacks;
#[path = "web/paths/auditor.rs"]
mod auditor;
#[path = "web/browser.rs"]
pub(crate) mod browser;
#[path = "web/chromium.rs"]
mod chromium;
#[path = "web/commands.rs"]
mod commands;
#[path = "web/paths/commissioning.rs"]
mod commissioning;
#[path = "web/crowds.rs"]
mod crowds;
#[path = "web/desk.rs"]
mod desk;
#[path = "web/encrypted.rs"]
mod encrypted;
#[path = "web/gateway.rs"]
pub(crate) mod gateway;
#[path = "web/kitchen.rs"]
mod kitchen;
#[path = "web/logbook.rs"]
mod logbook;
#[path = "web/paths/looks.rs"]
mod looks;
#[path = "web/paths/manager.rs"]
mod manager;
#[path = "web/paths/operator.rs"]
mod operator;
#[path = "web/paths/placed.rs"]
mod placed;
#[path = "web/paths/planted.rs"]
mod planted;
#[path = "web/practice.rs"]
mod practice;
#[path = "web/programs.rs"]
mod programs;
#[path = "web/paths/refusals.rs"]
mod refusals;
#[path = "web/rights.rs"]
mod rights;
#[path = "web/paths/sheets.rs"]
mod sheets;
#[path = "web/paths/technician.rs"]
mod technician;
#[path = "web/paths/walk.rs"]
mod walk;
