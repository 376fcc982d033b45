//! Frames of a CAN bus, and how they are written as text (CAN Frame Transfer, section 4; TCP Transfer, a draft).

/// A frame is written in no more letters than this.
const LONGEST: usize = 2 + 8 + 1 + 16;

/// One frame: a header of 29 bits, and up to eight bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame {
    header: u32,
    data: [u8; 8],
    count: u8,
}

impl Frame {
    /// A frame; nothing where there are more than eight bytes, or more than 29 bits.
    pub fn new(header: u32, data: &[u8]) -> Option<Self> {
        if header >> 29 != 0 || data.len() > 8 {
            return None;
        }
        let mut bytes = [0; 8];
        bytes[..data.len()].copy_from_slice(data);
        Some(Self { header, data: bytes, count: data.len() as u8 })
    }

    /// The header.
    pub fn header(&self) -> u32 {
        self.header
    }

    /// The bytes.
    pub fn data(&self) -> &[u8] {
        &self.data[..usize::from(self.count)]
    }

    /// Who sent it.
    pub fn source(&self) -> u16 {
        (self.header & 0xFFF) as u16
    }

    /// What it is: bits 26 to 12.
    pub fn content(&self) -> u16 {
        (self.header >> 12 & 0x7FFF) as u16
    }

    /// Whether it carries a message, and not the care of aliases.
    pub fn is_message(&self) -> bool {
        self.header >> 27 & 1 == 1
    }

    /// As text: `:X195B4240N0101000000000303;`.
    pub fn text(&self) -> String {
        let data: String = self.data().iter().map(|byte| format!("{byte:02X}")).collect();
        format!(":X{:08X}N{data};", self.header)
    }

    /// The frame in such a text, without `:` and `;`; nothing where it is none. Frames of eleven bits, and requests, are none.
    fn read(text: &[u8]) -> Option<Self> {
        let text = std::str::from_utf8(text).ok()?.strip_prefix(['X', 'x'])?;
        let (header, data) = text.split_once(['N', 'n'])?;
        let is_hex = |text: &str| text.bytes().all(|byte| byte.is_ascii_hexdigit());
        if header.is_empty() || header.len() > 8 || !is_hex(header) || !is_hex(data) || !data.len().is_multiple_of(2) {
            return None;
        }
        let bytes: Vec<u8> = (0..data.len() / 2)
            .filter_map(|place| u8::from_str_radix(&data[2 * place..2 * place + 2], 16).ok())
            .collect();
        // Some set bits above the 29: they are not part of it.
        let header = u32::from_str_radix(header, 16).ok()? & 0x1FFF_FFFF;
        Self::new(header, &bytes)
    }
}

/// Finds frames in bytes that come in pieces. What lies between frames is passed over.
#[derive(Debug, Default)]
pub struct Frames {
    /// What came of a frame that is not whole yet, behind its `:`.
    begun: Option<Vec<u8>>,
    garbled: u64,
}

impl Frames {
    /// Takes in bytes; gives the frames that they complete.
    pub fn hear(&mut self, bytes: &[u8]) -> Vec<Frame> {
        let mut found = Vec::new();
        for &byte in bytes {
            match (byte, self.begun.as_mut()) {
                (b':', _) => {
                    self.garbled += u64::from(self.begun.is_some());
                    self.begun = Some(Vec::new());
                }
                (b';', Some(begun)) => {
                    match Frame::read(begun) {
                        Some(frame) => found.push(frame),
                        None => self.garbled += 1,
                    }
                    self.begun = None;
                }
                (_, Some(begun)) if begun.len() < LONGEST => begun.push(byte),
                (_, Some(_)) => {
                    self.garbled += 1;
                    self.begun = None;
                }
                (_, None) => {}
            }
        }
        found
    }

    /// How many frames were begun and made no sense.
    pub fn garbled(&self) -> u64 {
        self.garbled
    }
}
