//! One act of the shop is one function here and one transaction: load, let `domain` decide, append. No HTTP and no network.

pub mod access;
pub mod board;
pub mod break_down;
pub mod count;
pub mod customer;
pub mod desk;
pub mod edit_catalogue;
pub mod failure;
pub mod hold;
pub mod judge;
pub mod label;
pub mod look;
pub mod mark_down;
pub mod once;
pub mod pick;
pub mod place_tray;
pub mod receive;
pub mod review;
pub mod scan;
pub mod secret;
pub mod sell;
pub mod take_out;
pub mod take_readings;
pub mod top_up;
pub mod tray_ledger;
pub mod verify;
