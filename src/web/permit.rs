//! Permissions as types, so that what a handler needs stands in its signature. Who has which is `domain::permissions`'.

use crate::domain::permissions::Permission;

/// A permission a handler asks for.
pub trait Permit: 'static {
    const PERMISSION: Permission;
}

macro_rules! permits {
    ($($name:ident),*) => {
        $(
            #[doc = concat!("Asks for `", stringify!($name), "`.")]
            pub struct $name;

            impl Permit for $name {
                const PERMISSION: Permission = Permission::$name;
            }
        )*
    };
}

permits!(
    ReadStock,
    ReadRecords,
    ReadCost,
    ReadMetrics,
    ReadHealth,
    Scan,
    Sell,
    Receive,
    BreakDown,
    MoveTrays,
    Pick,
    TakeOut,
    Count,
    PlaceHold,
    ReleaseHold,
    Acknowledge,
    PrintLabels,
    PostReadings,
    Review,
    EditCatalogue,
    ManageAccess,
    ManageWebhooks
);
