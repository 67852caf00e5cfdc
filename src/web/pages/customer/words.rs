//! What the customer's page says, in each of its languages. The Japanese words are those that labels in Japan use (消費期限, 名称, 解凍);
//! common practice, no source. The cautions say the same in both.

use crate::domain::language::Language;
use crate::domain::lot::Production;
use crate::domain::shop::{LABEL_CAUTIONS, LABEL_STORAGE_LIMIT};
use crate::ops::customer::{Condition, Scanned, Warning};

/// The words of one language.
pub struct Words {
    pub to_the_content: &'static str,
    pub languages: &'static str,
    pub fish: &'static str,
    pub country: &'static str,
    pub production: &'static str,
    pub gear: &'static str,
    pub lot: &'static str,
    pub label: &'static str,
    pub first_frozen: &'static str,
    pub never_frozen: &'static str,
    pub frozen_before_it_came: &'static str,
    pub cut_on: &'static str,
    pub use_by: &'static str,
    pub no_use_by: &'static str,
    pub keep: &'static str,
    pub cautions: &'static str,
    pub cook_it: &'static str,
    pub time_out_of_the_cold: &'static str,
    pub label_cautions: [&'static str; 2],
    pub footer: &'static str,
    pub thawed: &'static str,
    pub not_found: (&'static str, &'static str),
    pub too_often: (&'static str, &'static str),
    pub not_now: (&'static str, &'static str),
}

const ENGLISH: Words = Words {
    to_the_content: "To the content",
    languages: "Languages",
    fish: "Fish",
    country: "Country",
    production: "Wild or farmed",
    gear: "Caught with",
    lot: "Lot",
    label: "Label",
    first_frozen: "First frozen",
    never_frozen: "Never frozen",
    frozen_before_it_came: "Before it came to the shop, date not recorded",
    cut_on: "Cut on",
    use_by: "Use by",
    no_use_by: "It is frozen now. Its date is on the label it gets when it is thawed.",
    keep: "Keep",
    cautions: "Please note",
    cook_it: "For cooking: cook it through before you eat it.",
    time_out_of_the_cold: "The use-by assumes that it is kept cold. Time out of the cold shortens it.",
    label_cautions: LABEL_CAUTIONS,
    footer: "This page tells what the shop knows of this fish. It does not show that fish is safe: keep it cold, and when in doubt do not \
             eat it. The local food rules and their inspector decide.",
    thawed: "It was frozen and is thawed. Do not freeze it again.",
    not_found: ("We do not know this label", "Please check the address, or ask at the counter."),
    too_often: ("Too many requests", "Please wait a little and try again."),
    not_now: ("We cannot answer just now", "Please try again in a moment, or ask at the counter."),
};

const JAPANESE: Words = Words {
    to_the_content: "本文へ",
    languages: "言語",
    fish: "名称",
    country: "国名",
    production: "天然・養殖の別",
    gear: "漁法",
    lot: "ロット番号",
    label: "ラベル番号",
    first_frozen: "最初の凍結日",
    never_frozen: "凍結していません",
    frozen_before_it_came: "当店への入荷前（日付の記録はありません）",
    cut_on: "加工日",
    use_by: "消費期限",
    no_use_by: "現在は冷凍中です。解凍時に付けるラベルに期限を表示します。",
    keep: "保存方法",
    cautions: "ご注意",
    cook_it: "加熱調理用です。中心まで十分に加熱してからお召し上がりください。",
    time_out_of_the_cold: "消費期限は、冷たいまま保存した場合の期限です。冷蔵されていない時間があると短くなります。",
    label_cautions: [
        "生の魚です。妊娠中の方、ご高齢の方、免疫力が低下している方は、生で食べないでください。",
        "魚を含みます（アレルギーのある方はご注意ください）。",
    ],
    footer: "このページは、この魚について当店が把握している情報をお知らせするものです。魚の安全を保証するものではありません。必ず冷たい状態で\
             保存し、少しでも不安なときは食べないでください。安全の判断は、地域の食品衛生の規則と監視員に従います。",
    thawed: "解凍品です。再び凍結しないでください。",
    not_found: ("このラベルは見つかりません", "アドレスをお確かめになるか、売り場でお尋ねください。"),
    too_often: ("アクセスが多すぎます", "少し待ってから、もう一度お試しください。"),
    not_now: ("ただいま表示できません", "しばらくしてからもう一度お試しになるか、売り場でお尋ねください。"),
};

pub const fn words(language: Language) -> &'static Words {
    match language {
        Language::English => &ENGLISH,
        Language::Japanese => &JAPANESE,
    }
}

/// A warning: what to do, and why.
pub const fn warning(language: Language, warning: Warning) -> (&'static str, &'static str) {
    match (language, warning) {
        (Language::English, Warning::Held) => {
            ("Do not eat this.", "The shop has stopped and recalled it. Please bring it back, or ask the shop.")
        }
        (Language::English, Warning::TooWarm) => (
            "Do not eat this.",
            "It was too warm for too long. Cooking does not help. Please bring it back, or ask the shop.",
        ),
        (Language::English, Warning::PastUseBy) => ("Do not eat this.", "Its use-by has passed."),
        (Language::English, Warning::LifeEnded) => {
            ("Do not eat this.", "Its time has ended sooner than its label says. Please ask the shop.")
        }
        (Language::English, Warning::Withdrawn) => {
            ("Do not eat this.", "The shop has taken it out of sale. If you bought it, please ask the shop.")
        }
        (Language::Japanese, Warning::Held) => (
            "食べないでください。",
            "当店が販売を停止し、回収しています。お手元の品をお持ちいただくか、当店にお尋ねください。",
        ),
        (Language::Japanese, Warning::TooWarm) => (
            "食べないでください。",
            "適温を超えた時間が長すぎました。加熱しても食べられません。お手元の品をお持ちいただくか、当店にお尋ねください。",
        ),
        (Language::Japanese, Warning::PastUseBy) => ("食べないでください。", "消費期限が過ぎています。"),
        (Language::Japanese, Warning::LifeEnded) => {
            ("食べないでください。", "ラベルの表示より早く期限が終わりました。当店にお尋ねください。")
        }
        (Language::Japanese, Warning::Withdrawn) => {
            ("食べないでください。", "当店が売り場から下げた品です。お買い上げの場合は、当店にお尋ねください。")
        }
    }
}

/// What is said of a label that no longer holds.
pub const fn scanned(language: Language, scanned: Scanned) -> Option<&'static str> {
    match (language, scanned) {
        (_, Scanned::Current) => None,
        (Language::English, Scanned::Replaced) => {
            Some("There is a newer label for this. What stands here is what the newer label says.")
        }
        (Language::English, Scanned::Outdated) => {
            Some("The label you scanned no longer holds. What stands here counts.")
        }
        (Language::Japanese, Scanned::Replaced) => {
            Some("この品には新しいラベルがあります。ここには新しいラベルの内容を表示しています。")
        }
        (Language::Japanese, Scanned::Outdated) => {
            Some("読み取ったラベルの内容は変わりました。ここに表示する内容が有効です。")
        }
    }
}

/// How it is kept.
pub fn storage(language: Language, condition: Condition) -> String {
    let limit = LABEL_STORAGE_LIMIT.get() / 1_000;
    match (language, condition) {
        (Language::English, Condition::Frozen) => "Frozen, at -18 °C or colder".to_owned(),
        (Language::English, _) => format!("At 0 to {limit} °C"),
        (Language::Japanese, Condition::Frozen) => "−18℃以下で冷凍保存".to_owned(),
        (Language::Japanese, _) => format!("0～{limit}℃で冷蔵保存"),
    }
}

/// Wild or farmed.
pub const fn production(language: Language, production: Production) -> &'static str {
    match (language, production) {
        (Language::English, Production::Wild) => "Wild",
        (Language::English, Production::Farmed) => "Farmed",
        (Language::Japanese, Production::Wild) => "天然",
        (Language::Japanese, Production::Farmed) => "養殖",
    }
}

/// Captions of where and when: what is wild is caught, what is farmed is raised and harvested.
pub const fn where_and_when(language: Language, production: Production) -> (&'static str, &'static str) {
    match (language, production) {
        (Language::English, Production::Wild) => ("Caught in", "Caught on"),
        (Language::English, Production::Farmed) => ("Farmed in", "Harvested on"),
        (Language::Japanese, Production::Wild) => ("産地（漁獲水域）", "漁獲日"),
        (Language::Japanese, Production::Farmed) => ("産地（養殖水域）", "水揚げ日"),
    }
}
