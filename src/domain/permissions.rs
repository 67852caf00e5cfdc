//! Who may do what: one table, read by the code and by the tests. How a person proves who they are is not decided here.

/// What a signed-in person or a key is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Role {
    Counter,
    Cutter,
    Manager,
    Till,
    Reader,
    /// A machine that posts readings of places, and sees nothing.
    Logger,
}

impl Role {
    pub const ALL: [(Role, &'static str); 6] = [
        (Role::Counter, "counter"),
        (Role::Cutter, "cutter"),
        (Role::Manager, "manager"),
        (Role::Till, "till"),
        (Role::Reader, "reader"),
        (Role::Logger, "logger"),
    ];

    pub fn as_str(self) -> &'static str {
        Self::ALL.iter().find(|(role, _)| *role == self).map_or("", |(_, text)| text)
    }

    pub fn parse(text: &str) -> Option<Role> {
        Self::ALL.iter().find(|(_, name)| *name == text).map(|(role, _)| *role)
    }
}

macro_rules! permissions {
    ($($(#[$note:meta])* $name:ident, $text:literal, [$($role:ident),*];)*) => {
        /// One thing a role may or may not do.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum Permission { $($(#[$note])* $name,)* }

        impl Permission {
            pub const ALL: &'static [Permission] = &[$(Permission::$name,)*];

            pub const fn as_str(self) -> &'static str {
                match self { $(Permission::$name => $text,)* }
            }

            /// The roles that have it; everyone else has not.
            pub const fn roles(self) -> &'static [Role] {
                match self { $(Permission::$name => &[$(Role::$role),*],)* }
            }
        }
    };
}

permissions! {
    ReadStock, "read_stock", [Counter, Cutter, Manager, Till, Reader];
    ReadRecords, "read_records", [Counter, Cutter, Manager, Reader];
    ReadCost, "read_cost", [Manager, Reader];
    /// What the program measures of itself.
    ReadMetrics, "read_metrics", [Manager, Reader];
    /// Why the shop is ready or not.
    ReadHealth, "read_health", [Manager];
    Scan, "scan", [Counter, Cutter, Manager, Till];
    Sell, "sell", [Counter, Manager, Till];
    Receive, "receive", [Cutter, Manager];
    BreakDown, "break_down", [Cutter, Manager];
    MoveTrays, "move_trays", [Counter, Cutter, Manager];
    /// Making pick lists and working them off.
    Pick, "pick", [Counter, Cutter, Manager];
    TakeOut, "take_out", [Counter, Cutter, Manager];
    Count, "count", [Cutter, Manager];
    PlaceHold, "place_hold", [Counter, Cutter, Manager];
    ReleaseHold, "release_hold", [Manager];
    Acknowledge, "acknowledge", [Counter, Cutter, Manager];
    PrintLabels, "print_labels", [Counter, Cutter, Manager];
    PostReadings, "post_readings", [Manager, Logger];
    Review, "review", [Manager];
    EditCatalogue, "edit_catalogue", [Manager];
    ManageAccess, "manage_access", [Manager];
    ManageWebhooks, "manage_webhooks", [Manager];
}

impl Permission {
    pub fn allows(self, role: Role) -> bool {
        self.roles().contains(&role)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_till_reads_stock_scans_and_sells_and_nothing_else() {
        let allowed: Vec<&str> = Permission::ALL.iter().filter(|p| p.allows(Role::Till)).map(|p| p.as_str()).collect();
        assert_eq!(allowed, ["read_stock", "scan", "sell"]);
    }

    #[test]
    fn a_logger_posts_readings_and_nothing_else() {
        let allowed: Vec<&str> =
            Permission::ALL.iter().filter(|p| p.allows(Role::Logger)).map(|p| p.as_str()).collect();
        assert_eq!(allowed, ["post_readings"]);
    }

    #[test]
    fn a_reader_changes_nothing_and_a_manager_may_all() {
        let reads = [Permission::ReadStock, Permission::ReadRecords, Permission::ReadCost, Permission::ReadMetrics];
        assert!(Permission::ALL.iter().all(|p| p.allows(Role::Reader) == reads.contains(p)));
        assert!(Permission::ALL.iter().all(|p| p.allows(Role::Manager)));
    }
}
