//! Archives and markup read piece by piece, so that neither a bomb nor a whole continent's file fills the memory.

use std::io::{self, BufRead, Cursor, Read};

use zip::ZipArchive;

use super::Refusal;

/// Most files in an archive.
const MOST_FILES: usize = 1000;
/// By how much an archive may grow when it is unpacked. Forecast files grow about twentyfold.
const MOST_GROWTH: u64 = 60;
/// What any archive may grow to, however small it is \[bytes\].
const FREE: u64 = 4 << 20;
/// Most bytes between two pieces of markup: the values of one element of one station are a few thousand.
const LONGEST_PIECE: usize = 1 << 20;
/// Bytes taken at a time.
const CHUNK: usize = 32 << 10;

/// An opened archive and how many bytes may come out of it in all.
pub(super) struct Archive<'a> {
    zip: ZipArchive<Cursor<&'a [u8]>>,
    left: u64,
}

impl<'a> Archive<'a> {
    /// Opens an archive, its list of files only.
    pub(super) fn open(bytes: &'a [u8]) -> Result<Self, Refusal> {
        // Every file has its entry in the list at the end; a list without end is not even begun.
        let entries = bytes
            .windows(4)
            .filter(|four| *four == b"PK\x01\x02")
            .take(MOST_FILES + 1);
        if entries.count() > MOST_FILES {
            return Err(Refusal::TooBig);
        }
        let zip = ZipArchive::new(Cursor::new(bytes)).map_err(|_| Refusal::Archive)?;
        let left = MOST_GROWTH * u64::try_from(bytes.len()).unwrap_or(u64::MAX / MOST_GROWTH) + FREE;
        Ok(Self { zip, left })
    }

    /// Numbers of the files whose name ends so, in any case of letters.
    pub(super) fn ending(&mut self, end: &str) -> Vec<usize> {
        let ends = |archive: &mut Self, number: usize| {
            let file = archive.zip.by_index_raw(number).ok()?;
            let name = file.name().ok()?;
            Some(name.to_ascii_lowercase().ends_with(end))
        };
        (0..self.zip.len())
            .filter(|number| ends(self, *number) == Some(true))
            .collect()
    }

    /// One file to be read piece by piece, and the bytes that may come out of it.
    pub(super) fn file(&mut self, number: usize) -> Result<(impl Read + '_, u64), Refusal> {
        let left = self.left;
        let file = self.zip.by_index(number).map_err(|_| Refusal::Archive)?;
        Ok((file, left))
    }

    /// One whole file of at most `most` bytes.
    pub(super) fn whole(&mut self, number: usize, most: u64) -> Result<Vec<u8>, Refusal> {
        let most = most.min(self.left);
        let file = self.zip.by_index(number).map_err(|_| Refusal::Archive)?;
        let mut bytes = Vec::new();
        file.take(most + 1)
            .read_to_end(&mut bytes)
            .map_err(|_| Refusal::Archive)?;
        let length = u64::try_from(bytes.len()).unwrap_or(u64::MAX);
        if length > most {
            return Err(Refusal::TooBig);
        }
        self.left -= length;
        Ok(bytes)
    }
}

/// Markup as UTF-8, whatever its first line says it is written in, with an end to what it may hold.
pub(super) struct Markup<R> {
    from: R,
    raw: Vec<u8>,
    out: Vec<u8>,
    used: usize,
    latin: Option<bool>,
    left: u64,
    piece: usize,
    longest: usize,
}

impl<R: Read> Markup<R> {
    /// At most `most` bytes of `from`.
    pub(super) fn new(from: R, most: u64) -> Self {
        Self {
            from,
            raw: vec![0; CHUNK],
            out: Vec::with_capacity(CHUNK),
            used: 0,
            latin: None,
            left: most,
            piece: 0,
            longest: LONGEST_PIECE,
        }
    }

    /// The same, to be read in one go: no piece of it is too long.
    pub(super) fn whole(from: R, most: u64) -> Self {
        Self {
            longest: usize::MAX,
            ..Self::new(from, most)
        }
    }

    /// A piece of markup has been taken whole.
    pub(super) fn taken(&mut self) {
        self.piece = 0;
    }

    fn refill(&mut self) -> io::Result<()> {
        let count = self.from.read(&mut self.raw)?;
        let chunk = self.raw.get(..count).unwrap_or_default();
        let length = u64::try_from(count).unwrap_or(u64::MAX);
        self.left = self
            .left
            .checked_sub(length)
            .ok_or_else(|| io::Error::from(io::ErrorKind::FileTooLarge))?;
        let latin = *self.latin.get_or_insert_with(|| says_latin(chunk));
        self.out.clear();
        self.used = 0;
        if latin && !chunk.is_ascii() {
            let mut two = [0; 2];
            for byte in chunk {
                self.out
                    .extend_from_slice(char::from(*byte).encode_utf8(&mut two).as_bytes());
            }
        } else {
            self.out.extend_from_slice(chunk);
        }
        Ok(())
    }
}

/// Whether the first line names one of the Western single-byte sets.
fn says_latin(chunk: &[u8]) -> bool {
    let head = String::from_utf8_lossy(chunk.get(..chunk.len().min(200)).unwrap_or_default()).to_ascii_lowercase();
    head.split("?>")
        .next()
        .is_some_and(|line| line.contains("8859-1") || line.contains("windows-1252"))
}

impl<R: Read> Read for Markup<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.fill_buf()?.read(into)?;
        self.consume(count);
        Ok(count)
    }
}

impl<R: Read> BufRead for Markup<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.used >= self.out.len() {
            self.refill()?;
        }
        if self.piece > self.longest {
            return Err(io::Error::from(io::ErrorKind::FileTooLarge));
        }
        Ok(self.out.get(self.used..).unwrap_or_default())
    }

    fn consume(&mut self, count: usize) {
        self.used += count;
        self.piece = self.piece.saturating_add(count);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn western_letters_become_utf8_and_other_files_stay_as_they_are() {
        let read = |bytes: &[u8]| {
            let mut text = Vec::new();
            Markup::new(bytes, 1000).read_to_end(&mut text).unwrap();
            text
        };
        let latin = read(b"<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?><a>K\xf6ln</a>");
        assert!(String::from_utf8(latin).unwrap().ends_with("<a>K\u{f6}ln</a>"));
        let utf8 = "<?xml version=\"1.0\"?><a>K\u{f6}ln</a>";
        assert_eq!(read(utf8.as_bytes()), utf8.as_bytes());
    }

    #[test]
    fn what_grows_without_end_is_stopped() {
        let mut text = Vec::new();
        let told = Markup::new(&[b'x'; 4000][..], 3999).read_to_end(&mut text);
        assert_eq!(told.unwrap_err().kind(), io::ErrorKind::FileTooLarge);
        assert!(matches!(Archive::open(b"PK\x03\x04 no archive"), Err(Refusal::Archive)));
    }
}
