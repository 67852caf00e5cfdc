//! Published vectors of QR Code: for the crate that makes segments, error correction and placement, and for our symbols.
//!
//! QRT is kennytm, qrcode-rust, whose unit tests quote the examples of ISO/IEC 18004.

use crate::matrix::Matrix;
use crate::plain;
use qrcode::bits::{Bits, encode_auto};
use qrcode::ec::{construct_codewords, create_error_correction_code, max_allowed_errors};
use qrcode::optimize::Parser;
use qrcode::types::Mode;
use qrcode::{EcLevel, Version};
use sakudana::labels::symbol::Symbol;

fn hex(text: &str) -> Vec<u8> {
    text.split_whitespace().map(|byte| u8::from_str_radix(byte, 16).unwrap()).collect()
}

/// ISO/IEC 18004, Annex I: `01234567`, version 1-M, mask 010 (in QRT as `test_annex_i_qr`).
#[test]
fn the_example_of_annex_i_comes_out_module_for_module() {
    let published = Matrix::parse(
        "#######..#.##.#######
         #.....#..####.#.....#
         #.###.#.#.....#.###.#
         #.###.#.##....#.###.#
         #.###.#.#.###.#.###.#
         #.....#.#...#.#.....#
         #######.#.#.#.#######
         ........#..##........
         #.#####..#..#.#####..
         ...#.#.##.#.#..#.##..
         ..#...##.#.#.#..#####
         ....#....#.....####..
         ...######..#.#..#....
         ........#.#####..##..
         #######..##.#.##.....
         #.....#.#.#####...#.#
         #.###.#.#...#..#.##..
         #.###.#.##..#..#.....
         #.###.#.#.##.#..#.#..
         #.....#........##.##.
         #######.####.#..#.#..",
    );
    let symbol = Symbol::encode("01234567").unwrap();
    assert_eq!(symbol.mask(), 2);
    assert_eq!(Matrix::of(&symbol), published);
    // BCH(15,5) with XOR, level M and mask 2: computed.
    assert_eq!(plain::format_information(2), 0b101_1110_0111_1100);
}

fn bits(version: i16, push: impl Fn(&mut Bits)) -> Vec<u8> {
    let mut bits = Bits::new(Version::Normal(version));
    push(&mut bits);
    bits.into_bytes()
}

/// QRT `test_iso_18004_2006_example_1`, `test_iso_18004_2000_example_2`, `test_iso_18004_2006_example`.
#[test]
fn digits_and_capitals_become_the_published_bits() {
    let numeric = |text: &'static [u8]| bits(1, |bits| bits.push_numeric_data(text).unwrap());
    assert_eq!(numeric(b"01234567"), hex("10 20 0C 56 61 80"));
    assert_eq!(numeric(b"0123456789012345"), hex("10 40 0C 56 6A 6E 14 EA 50"));
    let capitals = bits(1, |bits| bits.push_alphanumeric_data(b"AC-42").unwrap());
    assert_eq!(capitals, hex("20 29 CE E7 21 00"));
}

/// QRT `test_hello_world` and `test_poly_mod_2`: 1-Q.
#[test]
fn hello_world_is_padded_and_corrected_as_published() {
    let data = bits(1, |bits| {
        bits.push_alphanumeric_data(b"HELLO WORLD").unwrap();
        bits.push_terminator(EcLevel::Q).unwrap();
    });
    assert_eq!(data, hex("20 5B 0B 78 D1 72 DC 4D 43 40 EC 11 EC"));
    assert_eq!(create_error_correction_code(&data, 13), hex("A8 48 16 52 D9 36 9C 00 2E 0F B4 7A 10"));
}

/// QRT `test_poly_mod_3` and `test_add_ec_complex`: the four blocks of 5-Q.
#[test]
fn blocks_are_corrected_and_interleaved_as_published() {
    let blocks = [
        ("43 55 46 86 57 26 55 C2 77 32 06 12 06 67 26", "D5 C7 0B 2D 73 F7 F1 DF E5 F8 9A 75 9A 6F 56 A1 6F 27"),
        ("F6 F6 42 07 76 86 F2 07 26 56 16 C6 C7 92 06", "57 CC 60 3C CA B6 7C 9D C8 86 1B 81 D1 11 A3 A3 78 85"),
        ("B6 E6 F7 77 32 07 76 86 57 26 52 06 86 97 32 07", "94 74 B1 D4 4C 85 4B F2 EE 4C C3 E6 BD 0A 6C F0 C0 8D"),
        ("46 F7 76 56 C2 06 97 32 10 EC 11 EC 11 EC 11 EC", "EB 9F 05 AD 18 93 3B 21 6A 28 FF AC 52 02 83 20 B2 EC"),
    ];
    for (data, correction) in blocks {
        assert_eq!(create_error_correction_code(&hex(data), 18), hex(correction));
    }
    let all: Vec<u8> = blocks.iter().flat_map(|(data, _)| hex(data)).collect();
    let (data, correction) = construct_codewords(&all, Version::Normal(5), EcLevel::Q).unwrap();
    assert!(data.starts_with(&hex("43 F6 B6 46 55 F6 E6 F7 46")));
    assert!(correction.starts_with(&hex("D5 57 94 EB C7 CC 74 9F")));
    // The two short blocks are one byte short: the last two bytes are of the long ones.
    assert!(data.ends_with(&hex("26 06 32 11 07 EC")), "{data:02X?}");
}

/// ISO/IEC 18004:2006, 8.4.3, table 5, in QRT: each character alone, four bits of mode, nine of length, six of value.
#[test]
fn the_alphanumeric_set_has_its_values() {
    for (value, character) in (0..).zip(b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:") {
        let data = bits(1, |bits| bits.push_alphanumeric_data(&[*character]).unwrap());
        let read = data.iter().fold(0_u32, |bits, byte| bits << 8 | u32::from(*byte));
        assert_eq!(read >> 5 & 0x3F, value, "{}", char::from(*character));
    }
}

/// Computed from the set: an upper-case address is alphanumeric as long as it has no query.
#[test]
fn capitals_take_less_room_until_a_query_comes() {
    let modes = |text: &str| -> Vec<Mode> {
        Parser::new(text.as_bytes()).optimize(Version::Normal(9)).map(|segment| segment.mode).collect()
    };
    let bare = modes("HTTPS://EXAMPLE.COM/01/09521234543213");
    assert!(!bare.contains(&Mode::Byte), "{bare:?}");
    assert!(modes("HTTPS://E.COM/01/1?17=2").contains(&Mode::Byte));
}

const LEVELS: [EcLevel; 4] = [EcLevel::L, EcLevel::M, EcLevel::Q, EcLevel::H];

/// Digits, capitals, bytes for L, M, Q, H: computed from the codeword tables of ISO/IEC 18004.
const CAPACITY: [(i16, [[usize; 3]; 4]); 15] = [
    (1, [[41, 25, 17], [34, 20, 14], [27, 16, 11], [17, 10, 7]]),
    (2, [[77, 47, 32], [63, 38, 26], [48, 29, 20], [34, 20, 14]]),
    (3, [[127, 77, 53], [101, 61, 42], [77, 47, 32], [58, 35, 24]]),
    (4, [[187, 114, 78], [149, 90, 62], [111, 67, 46], [82, 50, 34]]),
    (5, [[255, 154, 106], [202, 122, 84], [144, 87, 60], [106, 64, 44]]),
    (6, [[322, 195, 134], [255, 154, 106], [178, 108, 74], [139, 84, 58]]),
    (7, [[370, 224, 154], [293, 178, 122], [207, 125, 86], [154, 93, 64]]),
    (8, [[461, 279, 192], [365, 221, 152], [259, 157, 108], [202, 122, 84]]),
    (9, [[552, 335, 230], [432, 262, 180], [312, 189, 130], [235, 143, 98]]),
    (10, [[652, 395, 271], [513, 311, 213], [364, 221, 151], [288, 174, 119]]),
    (11, [[772, 468, 321], [604, 366, 251], [427, 259, 177], [331, 200, 137]]),
    (12, [[883, 535, 367], [691, 419, 287], [489, 296, 203], [374, 227, 155]]),
    (15, [[1250, 758, 520], [991, 600, 412], [703, 426, 292], [530, 321, 220]]),
    (20, [[2061, 1249, 858], [1600, 970, 666], [1159, 702, 482], [919, 557, 382]]),
    (40, [[7089, 4296, 2953], [5596, 3391, 2331], [3993, 2420, 1663], [3057, 1852, 1273]]),
];

#[test]
fn every_version_holds_what_it_should_and_not_one_character_more() {
    for (version, levels) in CAPACITY {
        for (level, most) in LEVELS.into_iter().zip(levels) {
            for (letter, most) in [b'7', b'X', b'x'].into_iter().zip(most) {
                let found = |length: usize| encode_auto(&vec![letter; length], level).map(|bits| bits.version());
                assert_eq!(found(most), Ok(Version::Normal(version)), "{level:?}, {most} of {}", char::from(letter));
                let next = found(most + 1).ok();
                let expected = (version < 40).then_some(Version::Normal(version + 1));
                assert_eq!(next, expected, "{level:?}, {most} and one of {}", char::from(letter));
            }
        }
    }
}

/// The same at our level with our own symbols, 17 modules and 4 for each version (ISO/IEC 18004).
#[test]
fn our_symbols_are_the_smallest_that_hold_the_text() {
    for (version, [_, [_, _, bytes], ..]) in CAPACITY.into_iter().take(9) {
        let modules = |length: usize| Symbol::encode(&"x".repeat(length)).unwrap().modules();
        let side = 17 + 4 * i32::from(version);
        assert_eq!((modules(bytes), modules(bytes + 1)), (side, side + 4));
    }
}

/// QRT `test_find_min_version`: bits and level, then the smallest version. Asked through text, whose head takes 12 bits in versions up to 9
/// and 20 above: 8 n + 12 bits is the nearest below.
#[test]
fn hello_world_needs_version_2_at_level_h() {
    let version = |level: EcLevel| encode_auto(b"HELLO WORLD", level).unwrap().version();
    assert_eq!((version(EcLevel::Q), version(EcLevel::H)), (Version::Normal(1), Version::Normal(2)));
    for (bits, level, expected) in [
        (60, EcLevel::L, 1),
        (200, EcLevel::L, 2),
        (200, EcLevel::H, 3),
        (640, EcLevel::L, 4),
        (20_000, EcLevel::L, 37),
    ] {
        let head = if expected > 9 { 20 } else { 12 };
        let found = encode_auto(&vec![b'x'; (bits - head) / 8], level).unwrap().version();
        assert_eq!(found, Version::Normal(expected), "{bits} bits");
    }
}

/// QRT `max_allowed_errors_test`.
#[test]
fn so_many_codewords_can_be_corrected() {
    for (version, most) in [
        (1, [2, 4, 6, 8]),
        (2, [4, 8, 11, 14]),
        (3, [7, 13, 18, 22]),
        (4, [10, 18, 26, 32]),
        (40, [375, 686, 1020, 1215]),
    ] {
        for (level, most) in LEVELS.into_iter().zip(most) {
            assert_eq!(max_allowed_errors(Version::Normal(version), level), Ok(most), "version {version}, {level:?}");
        }
    }
}
