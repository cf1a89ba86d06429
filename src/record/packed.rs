//! Bytes packed as they are written and unpacked as they are read (RFC 1951), so that no more than a window of what they
//! stand for is held at once.

use miniz_oxide::deflate::core::{
    CompressorOxide, TDEFLFlush, TDEFLStatus, compress_to_output, create_comp_flags_from_zip_params,
};
use miniz_oxide::inflate::stream::{InflateState, inflate};
use miniz_oxide::{DataFormat, MZError, MZFlush, MZStatus};
use std::io::{self, BufWriter, Read, Write};

/// Pieces handed to the packer are gathered up to this size.
const GATHERED: usize = 8 << 10;
/// How hard it is packed, of ten: what a step more would save is not worth its time.
const HARD: i32 = 3;

/// What `write` writes, packed.
pub(super) fn packed<E: From<io::Error>>(write: impl FnOnce(&mut dyn Write) -> Result<(), E>) -> Result<Vec<u8>, E> {
    let mut gathered = BufWriter::with_capacity(GATHERED, Packer::default());
    write(&mut gathered)?;
    let mut packer = gathered.into_inner().map_err(io::IntoInnerError::into_error)?;
    packer.push(&[], TDEFLFlush::Finish)?;
    Ok(packer.out)
}

/// Packs without a head or a sum: whoever keeps the bytes has a sum of theirs.
struct Packer {
    state: Box<CompressorOxide>,
    out: Vec<u8>,
}

impl Default for Packer {
    fn default() -> Self {
        // A window's bits below zero: bare.
        let flags = create_comp_flags_from_zip_params(HARD, -15, 0);
        Self { state: Box::new(CompressorOxide::new(flags)), out: Vec::new() }
    }
}

impl Packer {
    fn push(&mut self, bytes: &[u8], flush: TDEFLFlush) -> io::Result<usize> {
        let Self { state, out } = self;
        let (status, taken) = compress_to_output(state, bytes, flush, |packed| {
            out.extend_from_slice(packed);
            true
        });
        match status {
            TDEFLStatus::Okay | TDEFLStatus::Done => Ok(taken),
            TDEFLStatus::BadParam | TDEFLStatus::PutBufFailed => Err(io::Error::other("could not be packed")),
        }
    }
}

impl Write for Packer {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.push(bytes, TDEFLFlush::None)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Unpacks as it is read, up to a bound.
pub(super) struct Unpacked<'a> {
    state: Box<InflateState>,
    bytes: &'a [u8],
    left: usize,
    over: bool,
}

impl<'a> Unpacked<'a> {
    /// What these bytes stand for, no more than `most` bytes of it.
    pub(super) fn new(bytes: &'a [u8], most: usize) -> Self {
        Self { state: InflateState::new_boxed(DataFormat::Raw), bytes, left: most, over: false }
    }
}

impl Read for Unpacked<'_> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        if self.over || out.is_empty() {
            return Ok(0);
        }
        let done = inflate(&mut self.state, self.bytes, out, MZFlush::None);
        self.bytes = self.bytes.get(done.bytes_consumed..).unwrap_or_default();
        self.left =
            self.left.checked_sub(done.bytes_written).ok_or_else(|| io::Error::other("longer than it may be"))?;
        match done.status {
            Ok(MZStatus::StreamEnd) => self.over = true,
            Ok(_) if done.bytes_written > 0 => {}
            // Nothing more to take and no end: what was packed is cut off.
            Ok(_) | Err(MZError::Buf) if done.bytes_written == 0 => return Err(io::ErrorKind::UnexpectedEof.into()),
            Ok(_) | Err(MZError::Buf) => {}
            Err(_) => return Err(io::ErrorKind::InvalidData.into()),
        }
        Ok(done.bytes_written)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn of(pieces: &[Vec<u8>]) -> Vec<u8> {
        packed::<io::Error>(|to| pieces.iter().try_for_each(|p| to.write_all(p))).expect("packs")
    }

    fn read(bytes: &[u8], most: usize) -> io::Result<Vec<u8>> {
        let mut out = Vec::new();
        Unpacked::new(bytes, most).read_to_end(&mut out)?;
        Ok(out)
    }

    proptest! {
        // Against the library's own way to pack and unpack in one go.
        #[test]
        fn what_is_packed_comes_back(pieces in prop::collection::vec(prop::collection::vec(0u8..7, 0..3_000), 0..20)) {
            let whole = pieces.concat();
            let small = of(&pieces);
            prop_assert_eq!(&miniz_oxide::inflate::decompress_to_vec(&small).expect("unpacks"), &whole);
            prop_assert_eq!(&read(&small, whole.len()).expect("unpacks"), &whole);
            let theirs = miniz_oxide::deflate::compress_to_vec(&whole, 6);
            prop_assert_eq!(&read(&theirs, whole.len()).expect("unpacks"), &whole);
        }

        #[test]
        fn junk_is_an_error_or_an_end_and_never_more_than_it_may_be(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            if let Ok(out) = read(&bytes, 1_000) {
                prop_assert!(out.len() <= 1_000);
            }
        }
    }

    #[test]
    fn what_is_cut_off_or_too_long_is_an_error() {
        let whole = vec![vec![5; 100_000]];
        let small = of(&whole);
        assert!(small.len() < 1_000);
        assert_eq!(read(&small, 100_000).expect("fits").len(), 100_000);
        assert!(read(&small, 99_999).is_err());
        assert!(read(&small[..small.len() - 1], 100_000).is_err());
        assert!(read(&[], 100_000).is_err());
    }
}
