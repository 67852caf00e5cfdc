//! What a label must say: the fields of every template with the law, or the practice, that asks for each, and the smallest type it may be
//! set in. Words of the law are in `label_words`; where anything stands on the paper is not known here.
//!
//! How well each rule is known stands beside it: source (read in it), secondary (read in a text quoting it), memory (recalled, not
//! confirmed). Nothing here is legal advice: the local food code and its inspector decide.

use super::lot::Production;
use super::shop::Jurisdiction;

/// What a label is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Template {
    /// A block sold whole, with its own weight and price.
    Block,
    /// A tub sold by weight out of it.
    Tub,
    /// Stock that is not sold: a loin, a sack of bones.
    Bulk,
    /// Stock for the shop's own kitchen.
    Kitchen,
    /// A block or a tub whose price was lowered.
    Markdown,
}

impl Template {
    pub const ALL: [Template; 5] =
        [Template::Block, Template::Tub, Template::Bulk, Template::Kitchen, Template::Markdown];

    pub const fn as_str(self) -> &'static str {
        match self {
            Template::Block => "block",
            Template::Tub => "tub",
            Template::Bulk => "bulk",
            Template::Kitchen => "kitchen",
            Template::Markdown => "markdown",
        }
    }

    pub fn parse(text: &str) -> Option<Template> {
        Template::ALL.into_iter().find(|template| template.as_str() == text)
    }

    /// Whether a customer ever sees it.
    pub const fn is_for_sale(self) -> bool {
        !matches!(self, Template::Bulk | Template::Kitchen)
    }
}

macro_rules! fields {
    ($($name:ident, $text:literal, $says:literal;)*) => {
        /// One thing a label says. The order is the one in which refusals list them.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Field { $(#[doc = $says] $name,)* }

        impl Field {
            pub const ALL: &'static [Field] = &[$(Field::$name,)*];

            /// The field's name, as refusals and check lists spell it.
            pub const fn as_str(self) -> &'static str {
                match self { $(Field::$name => $text,)* }
            }
        }
    };
}

fields! {
    ShopName, "shop_name", "The operator, or packer.";
    ShopAddress, "shop_address", "Where the operator, or packer, is.";
    CutName, "cut_name", "What the piece is: \"Akami saku\".";
    CommercialName, "commercial_name", "Commercial designation, or market name, of the species.";
    ScientificName, "scientific_name", "Scientific name of the species.";
    ProductionMethod, "production_method", "Caught, farmed: in the words the law accepts.";
    CatchArea, "catch_area", "Where it was caught or farmed.";
    Gear, "gear", "Category of the fishing gear.";
    OriginCountry, "origin_country", "Country of origin.";
    Defrosted, "defrosted", "That it was frozen before.";
    NetWeight, "net_weight", "Net quantity with its unit.";
    UnitPrice, "unit_price", "Price per kilogram or pound, with its unit.";
    Price, "price", "What the tray costs.";
    OldPrice, "old_price", "What it cost before the markdown.";
    MarkdownReason, "markdown_reason", "Why the price was lowered.";
    UseBy, "use_by", "The instant after which it may not be sold, or by which it is cooked.";
    Storage, "storage", "Storage condition the use-by holds for.";
    CutOn, "cut_on", "When it was cut.";
    ReceivedOn, "received_on", "When it was received.";
    LotCode, "lot_code", "Traceability lot codes.";
    TrayCode, "tray_code", "The tray's code, grouped for typing by hand.";
    Allergen, "allergen", "Allergen statement.";
    Advisory, "advisory", "Advice to those who should not eat it raw.";
    Notices, "notices", "Short statements that stand out.";
    Cautions, "cautions", "Other small print.";
    QrText, "qr_text", "The address in the QR Code.";
    Linear, "linear", "The thirteen digits of a linear code.";
    Captions, "captions", "Words in front of values, and what a label not for sale is for.";
}

/// When a field must be there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Presence {
    /// No label without it.
    Mandatory,
    /// Printed where it is given.
    WhenGiven,
}

/// That a label says something, how large at the least, and who asks for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct FieldRule {
    pub field: Field,
    pub presence: Presence,
    /// Smallest height of the letter x, in micrometres; 0 for what is not type.
    pub least_x_height_um: u32,
    /// The law, or that it is practice.
    pub required_by: &'static str,
}

/// Whether and why the fish was frozen before it was sold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Thawed {
    /// Never frozen.
    No,
    /// Frozen to keep it, then defrosted.
    Defrosted,
    /// Frozen against parasites, as the law demands, then defrosted.
    FrozenForSafety,
}

/// The size of the pack the label is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Pack {
    Usual,
    /// Its largest face is below 80 cm² (EU: Reg. 1169/2011 art. 13(3), memory).
    Small,
}

/// How a marked-down tray is sold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Sold {
    Whole,
    ByWeight,
}

/// What the rules of a label depend on besides its template. Of a mixed tray: wild if any of it is wild, thawed if any of it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Circumstances {
    pub production: Production,
    pub thawed: Thawed,
    pub pack: Pack,
    pub sold: Sold,
}

const PRACTICE: &str = "common practice, no source";

/// Letter x at least 1.2 mm, on small packs 0.9 mm (Reg. 1169/2011 art. 13(2) and (3): memory).
const EU_UM: u32 = 1_200;
const EU_SMALL_PACK_UM: u32 = 900;
/// Letters at least 1/16 inch (21 CFR 101.2(c): memory), read as capitals: of the built-in typeface they are 4/3 of the letter x.
const US_UM: u32 = 1_200;
/// The net weight at least 1/16 inch, where small letters are used the letter o (21 CFR 101.7(h) and (i): memory).
const US_NET_WEIGHT_UM: u32 = 1_588;
/// The rest: what can still be read in the hand (our choice).
const FINE_UM: u32 = 900;
/// What is read at arm's length in a cold case, or typed by hand (our choice).
const NAME_UM: u32 = 1_500;
const DATE_UM: u32 = 1_500;
const PRICE_UM: u32 = 1_800;
const CODE_UM: u32 = 1_500;
/// The same on what stays inside the house, where the label is small and read from near (our choice).
const INSIDE_UM: u32 = 1_200;

/// What a label must and may say, in the order it is to be read.
pub fn rules(jurisdiction: Jurisdiction, template: Template, circumstances: Circumstances) -> Vec<FieldRule> {
    if !template.is_for_sale() {
        return inside(template);
    }
    let by_weight =
        template == Template::Tub || (template == Template::Markdown && circumstances.sold == Sold::ByWeight);
    let sold = if by_weight { Sold::ByWeight } else { Sold::Whole };
    let mut rules = match jurisdiction {
        Jurisdiction::Eu => eu(circumstances, sold),
        Jurisdiction::Us => us(circumstances, sold),
    };
    if template == Template::Markdown {
        let before = rules.iter().position(|rule| rule.field == Field::UnitPrice).unwrap_or(rules.len());
        let lowered = [
            must(Field::MarkdownReason, FINE_UM, PRACTICE),
            must(Field::OldPrice, FINE_UM, "Dir. 98/6/EC art. 6a (memory); elsewhere common practice"),
        ];
        rules.splice(before..before, lowered);
    }
    rules
}

/// The European Union: Reg. (EU) 1379/2013 art. 35 (source), Reg. (EU) 1169/2011 (secondary and memory).
fn eu(circumstances: Circumstances, sold: Sold) -> Vec<FieldRule> {
    let least = match circumstances.pack {
        Pack::Usual => EU_UM,
        Pack::Small => EU_SMALL_PACK_UM,
    };
    let wild = circumstances.production == Production::Wild;
    let area = "Reg. (EU) 1379/2013 art. 35(1)(c), 38 (source, secondary)";
    // Defrosted need not be said of fish that was frozen for health safety (art. 35(1)(d), exemption: source).
    let defrosted = presence(circumstances.thawed == Thawed::Defrosted);
    let mut rules = vec![
        must(Field::CutName, NAME_UM, "Reg. (EU) 1169/2011 art. 9(1)(a), 17 (memory)"),
        must(Field::CommercialName, least, "Reg. (EU) 1379/2013 art. 35(1)(a) (source)"),
        must(Field::ScientificName, least, "Reg. (EU) 1379/2013 art. 35(1)(a) (source)"),
        must(Field::ProductionMethod, least, "Reg. (EU) 1379/2013 art. 35(1)(b) (source)"),
        must(Field::CatchArea, least, area),
        rule(
            presence(wild),
            Field::Gear,
            least,
            "Reg. (EU) 1379/2013 art. 35(1)(c), Annex III (source); not for farmed fish",
        ),
        may(Field::OriginCountry, FINE_UM, "voluntary: Reg. (EU) 1379/2013 art. 39 (memory)"),
        rule(defrosted, Field::Defrosted, least, "Reg. (EU) 1379/2013 art. 35(1)(d) (source)"),
        must(Field::UseBy, DATE_UM, "Reg. (EU) 1169/2011 art. 24(1), Annex X (secondary)"),
        must(Field::Storage, least, "Reg. (EU) 1169/2011 art. 25, Annex X (secondary)"),
    ];
    rules.extend(quantity_and_price(
        sold,
        least,
        "Reg. (EU) 1169/2011 art. 9(1)(e), 23 (memory)",
        "Dir. 98/6/EC art. 3 (memory)",
        "Dir. 98/6/EC art. 3 (memory)",
    ));
    rules.extend([
        must(Field::LotCode, FINE_UM, "Dir. 2011/91/EU (memory)"),
        must(Field::Allergen, least, "Reg. (EU) 1169/2011 art. 9(1)(c), 21 (memory)"),
        must(Field::ShopName, least, "Reg. (EU) 1169/2011 art. 9(1)(h) (memory)"),
        must(Field::ShopAddress, least, "Reg. (EU) 1169/2011 art. 9(1)(h) (memory)"),
        may(Field::Advisory, FINE_UM, PRACTICE),
    ]);
    rules.extend(the_shops_own());
    rules
}

/// The United States: 7 CFR 60 (source), 21 CFR 101 (memory), Food Code (source and memory), uniform weights and measures law (source).
fn us(circumstances: Circumstances, sold: Sold) -> Vec<FieldRule> {
    let mut rules = vec![
        must(Field::CutName, NAME_UM, PRACTICE),
        must(Field::CommercialName, US_UM, "21 CFR 101.3 (memory); FDA, The Seafood List (source)"),
        may(Field::ScientificName, FINE_UM, PRACTICE),
        must(Field::ProductionMethod, US_UM, "7 CFR 60.300(a) (source), 60.200 (secondary)"),
        must(Field::OriginCountry, US_UM, "7 CFR 60.300(a) (source), 60.200 (secondary)"),
        may(Field::CatchArea, FINE_UM, PRACTICE),
        may(Field::Gear, FINE_UM, PRACTICE),
        rule(presence(circumstances.thawed != Thawed::No), Field::Defrosted, US_UM, PRACTICE),
        must(Field::UseBy, DATE_UM, "FDA Food Code 3-501.17 (memory)"),
        must(Field::Storage, US_UM, PRACTICE),
    ];
    let price = "uniform weights and measures law, as in Ark. Code 4-18-320 (source)";
    rules.extend(quantity_and_price(sold, US_NET_WEIGHT_UM, "21 CFR 101.7, 15 USC 1453(a)(3) (memory)", price, price));
    rules.extend([
        must(Field::LotCode, FINE_UM, PRACTICE),
        must(Field::Allergen, US_UM, "FD&C Act 403(w), 201(qq) (memory)"),
        must(Field::Advisory, US_UM, "FDA Food Code 3-603.11 (memory)"),
        must(Field::ShopName, US_UM, "21 CFR 101.5 (memory)"),
        must(Field::ShopAddress, US_UM, "21 CFR 101.5 (memory)"),
    ]);
    rules.extend(the_shops_own());
    rules
}

/// Out of a tub everything is weighed when it is sold: what it weighs itself tells a customer nothing.
fn quantity_and_price(
    sold: Sold,
    weight_um: u32,
    weight_by: &'static str,
    unit_price_by: &'static str,
    price_by: &'static str,
) -> Vec<FieldRule> {
    match sold {
        Sold::Whole => vec![
            must(Field::NetWeight, weight_um, weight_by),
            must(Field::UnitPrice, FINE_UM, unit_price_by),
            must(Field::Price, PRICE_UM, price_by),
        ],
        Sold::ByWeight => {
            vec![may(Field::NetWeight, weight_um, weight_by), must(Field::UnitPrice, PRICE_UM, unit_price_by)]
        }
    }
}

/// What every label for sale has because the shop works with it.
fn the_shops_own() -> [FieldRule; 7] {
    [
        must(Field::CutOn, FINE_UM, PRACTICE),
        may(Field::Notices, FINE_UM, PRACTICE),
        may(Field::Cautions, FINE_UM, PRACTICE),
        must(Field::TrayCode, CODE_UM, PRACTICE),
        must(Field::QrText, 0, "GS1, 2D Barcodes at Retail POS Implementation Guideline (source)"),
        may(Field::Linear, 0, "GS1 General Specifications, restricted circulation numbers (source)"),
        may(Field::Captions, FINE_UM, PRACTICE),
    ]
}

/// What stays inside the house: enough to know what it is, whence it came and by when it is used.
fn inside(template: Template) -> Vec<FieldRule> {
    let (cut_on, received_on) = match template {
        Template::Kitchen => (Presence::Mandatory, Presence::WhenGiven),
        _ => (Presence::WhenGiven, Presence::WhenGiven),
    };
    let mut rules = vec![
        must(Field::Captions, INSIDE_UM, PRACTICE),
        must(Field::CutName, INSIDE_UM, PRACTICE),
        must(Field::CommercialName, FINE_UM, PRACTICE),
        may(Field::ScientificName, FINE_UM, PRACTICE),
        may(Field::OriginCountry, FINE_UM, PRACTICE),
        may(Field::ProductionMethod, FINE_UM, PRACTICE),
        may(Field::CatchArea, FINE_UM, PRACTICE),
        may(Field::Gear, FINE_UM, PRACTICE),
        may(Field::Defrosted, FINE_UM, PRACTICE),
        must(Field::UseBy, INSIDE_UM, PRACTICE),
        must(Field::Storage, FINE_UM, PRACTICE),
        must(Field::NetWeight, INSIDE_UM, PRACTICE),
        rule(cut_on, Field::CutOn, FINE_UM, PRACTICE),
        rule(received_on, Field::ReceivedOn, FINE_UM, PRACTICE),
        must(Field::LotCode, FINE_UM, PRACTICE),
        may(Field::Allergen, FINE_UM, PRACTICE),
        may(Field::ShopName, FINE_UM, PRACTICE),
    ];
    // Raw material of the kitchen must not reach a plate raw: said in words on every such label.
    let notices = if template == Template::Kitchen { Presence::Mandatory } else { Presence::WhenGiven };
    rules.extend([
        rule(notices, Field::Notices, FINE_UM, PRACTICE),
        may(Field::Cautions, FINE_UM, PRACTICE),
        must(Field::TrayCode, INSIDE_UM, PRACTICE),
        must(Field::QrText, 0, PRACTICE),
    ]);
    rules
}

const fn presence(mandatory: bool) -> Presence {
    if mandatory { Presence::Mandatory } else { Presence::WhenGiven }
}

const fn must(field: Field, least_x_height_um: u32, required_by: &'static str) -> FieldRule {
    rule(Presence::Mandatory, field, least_x_height_um, required_by)
}

const fn may(field: Field, least_x_height_um: u32, required_by: &'static str) -> FieldRule {
    rule(Presence::WhenGiven, field, least_x_height_um, required_by)
}

const fn rule(presence: Presence, field: Field, least_x_height_um: u32, required_by: &'static str) -> FieldRule {
    FieldRule { field, presence, least_x_height_um, required_by }
}
