//! Answers of decoders (RCN-217, 1 December 2019).

use std::collections::BTreeSet;

use lineside::railcom::{Channel1, Reassembly, Symbol, decode, encode};
use track::Address;

use super::{bytes, hex, rows};

const TABLE: &str = include_str!("../data/railcom_4of8.csv");
const ADDRESSES: &str = include_str!("../data/railcom_ch1_address_vectors.csv");

#[test]
fn the_published_table_is_decoded_and_every_other_byte_is_garbled() {
    let mut known = BTreeSet::new();
    for row in rows(TABLE) {
        let code = hex(&row[2]) as u8;
        known.insert(code);
        let wanted = match row[4].as_str() {
            "data" => Symbol::Data(row[1].parse().unwrap()),
            "ACK" | "ACK (second form)" => Symbol::Acknowledged,
            "NACK (optional)" => Symbol::NotAcknowledged,
            _ => Symbol::Reserved,
        };
        assert_eq!(decode(code), Some(wanted), "{code:02X}");
        if let Symbol::Data(value) = wanted {
            assert_eq!(encode(value), Some(code));
        }
    }
    assert_eq!(known.len(), 70, "four of eight bits can be set in seventy ways");
    for byte in 0..=u8::MAX {
        assert_eq!(decode(byte).is_some(), known.contains(&byte), "{byte:02X}");
        assert_eq!(decode(byte).is_some(), byte.count_ones() == 4, "{byte:02X}");
    }
}

#[test]
fn bad_copies_of_the_table_are_not_ours() {
    // Copies that are known to be wrong: one has C9 for 2F, which is that of 2A; one 8D for 0B, which is that of 0D; one counts
    // through the bytes with four ones in their order.
    assert_eq!((encode(0x2F), encode(0x2A)), (Some(0xCA), Some(0xC9)));
    assert_eq!((encode(0x0B), encode(0x0D)), (Some(0x96), Some(0x8D)));
    let ascending: Vec<u8> = (0..=u8::MAX).filter(|byte| byte.count_ones() == 4).collect();
    assert!((0..64).any(|value| encode(value) != Some(ascending[usize::from(value)])));
    assert_eq!(encode(64), None);
}

#[test]
fn published_addresses_are_put_together_and_consists_are_nobodys() {
    for row in rows(ADDRESSES) {
        let (high, low) = (bytes(&row[5]), bytes(&row[7]));
        let half = |wire: &[u8]| Channel1::of([wire[0], wire[1]]);
        assert_eq!(half(&high), Some(Channel1::High(hex(&row[2]) as u8)), "{row:?}");
        assert_eq!(half(&low), Some(Channel1::Low(hex(&row[3]) as u8)), "{row:?}");
        let number: u64 = row[1].parse().unwrap();
        let wanted = match row[0].as_str() {
            "short" => Address::short(number),
            "long" => Address::long(number),
            _ => None,
        };
        let mut reassembly = Reassembly::default();
        let both = [high.clone(), low.clone()].concat();
        assert_eq!(reassembly.hear(&both), None, "once is not enough: {row:?}");
        assert_eq!(reassembly.hear(&both), wanted, "{row:?}");
    }
}

/// The two halves of an address on the wire.
fn wire(address: Address) -> [Vec<u8>; 2] {
    let (high, low) = match address {
        Address::Short(number) => (0, number),
        Address::Long(number) => (0x80 | (number >> 8) as u8, (number & 0xFF) as u8),
    };
    [(1u8, high), (2, low)].map(|(id, data)| vec![encode(id << 2 | data >> 6).unwrap(), encode(data & 0x3F).unwrap()])
}

#[test]
fn halves_of_two_trains_never_become_a_third() {
    let all = [Address::Short(3), Address::Short(12), Address::Long(1203), Address::Long(2417)];
    for one in all {
        for other in all.into_iter().filter(|other| *other != one) {
            let ([one_high, one_low], [other_high, other_low]) = (wire(one), wire(other));
            // One left when only its high half was heard often enough; the other came.
            let mut reassembly = Reassembly::default();
            let mut found = BTreeSet::new();
            for piece in [&one_high, &one_low, &one_high, &other_low, &other_high, &other_low, &other_high, &other_low]
            {
                found.extend(reassembly.hear(piece));
            }
            assert!(found.iter().all(|address| *address == other || *address == one), "{one:?} {other:?}: {found:?}");
        }
    }
}

#[test]
fn garbled_answers_are_nobodys() {
    let mut reassembly = Reassembly::default();
    for _ in 0..10 {
        assert_eq!(reassembly.hear(&[0xFF, 0xAC, 0x99, 0x00, 0x0F, 0x0F, 0xA3]), None);
    }
}
