//! The headers of a Parquet file's pages, held against its description before anything is decoded.

use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::ops::Range;

use polars_parquet_format::thrift::protocol::TCompactInputProtocol;
use polars_parquet_format::{PageHeader, PageType};
use thiserror::Error;

use super::parquet_checksums::checksum;

/// Longest header of a page, its statistics included, bytes.
const LONGEST_HEADER: u64 = 16 << 20;

/// One column of one row group, as the description of the file has it.
#[derive(Debug, Clone)]
pub(crate) struct ColumnChunk {
    /// Where its pages lie.
    pub(crate) bytes: Range<u64>,
    /// How many values its pages hold in all.
    pub(crate) values: u64,
    /// How long its pages are once they are unpacked, with their headers.
    pub(crate) unpacked: u64,
}

/// What is wrong with the pages of a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub(crate) enum PageFault {
    /// A header contradicts the description.
    #[error("damaged")]
    Contradiction,
    /// What a page holds is not what was written.
    #[error("damaged: the checksum of a page does not agree with what it holds")]
    Checksum,
}

/// Whether the pages of a column agree with its description in number and size, and with their own checksums where they have
/// any. A decoder that is told of more values than there are would ask for more memory than there is, and that ends a process.
pub(crate) fn judge(file: &File, chunk: &ColumnChunk) -> Result<(), PageFault> {
    if read(file, chunk)? == chunk.values { Ok(()) } else { Err(PageFault::Contradiction) }
}

/// How many values the pages say they hold.
fn read(file: &File, chunk: &ColumnChunk) -> Result<u64, PageFault> {
    let mut reader = BufReader::new(file);
    let mut at = chunk.bytes.start;
    reader.seek(SeekFrom::Start(at)).map_err(|_| PageFault::Contradiction)?;
    let (mut values, mut unpacked) = (0_u64, 0_u64);
    while at < chunk.bytes.end {
        let room = chunk.bytes.end - at;
        let page = next_page(&mut reader, room).ok_or(PageFault::Contradiction)?;
        unpacked += page.head + page.unpacked;
        values += page.values;
        if unpacked > chunk.unpacked || values > chunk.values {
            return Err(PageFault::Contradiction);
        }
        match page.crc {
            None => {
                let packed = i64::try_from(page.packed).map_err(|_| PageFault::Contradiction)?;
                reader.seek_relative(packed).map_err(|_| PageFault::Contradiction)?;
            }
            Some(crc) => {
                if checksum(&mut reader, page.packed).map_err(|_| PageFault::Contradiction)? != crc {
                    return Err(PageFault::Checksum);
                }
            }
        }
        at += page.head + page.packed;
    }
    Ok(values)
}

/// What the header of a page says.
struct Page {
    /// Length of the header, bytes.
    head: u64,
    packed: u64,
    unpacked: u64,
    values: u64,
    crc: Option<u32>,
}

/// Reads the header of the page that stands here, with so many bytes left in its column.
fn next_page(reader: &mut BufReader<&File>, room: u64) -> Option<Page> {
    let limit = room.min(LONGEST_HEADER);
    let mut head = reader.by_ref().take(limit);
    let mut protocol = TCompactInputProtocol::new(&mut head, usize::try_from(limit).ok()?);
    let header = PageHeader::read_from_in_protocol(&mut protocol).ok()?;
    let head = limit - head.limit();
    let packed = u64::try_from(header.compressed_page_size).ok()?;
    let unpacked = u64::try_from(header.uncompressed_page_size).ok()?;
    let crc = header.crc.map(i32::cast_unsigned);
    (packed <= room - head).then_some(Page { head, packed, unpacked, values: of_page(&header)?, crc })
}

/// How many values of the column a page holds.
fn of_page(header: &PageHeader) -> Option<u64> {
    let count = |number: i32| u64::try_from(number).ok();
    let size = count(header.uncompressed_page_size)?;
    if header.type_ == PageType::DICTIONARY_PAGE {
        let entries = count(header.dictionary_page_header.as_ref()?.num_values)?;
        // an entry takes a byte at least
        return (entries <= size).then_some(0);
    }
    if header.type_ == PageType::DATA_PAGE {
        return count(header.data_page_header.as_ref()?.num_values);
    }
    if header.type_ == PageType::DATA_PAGE_V2 {
        let page = header.data_page_header_v2.as_ref()?;
        let values = count(page.num_values)?;
        let levels = count(page.definition_levels_byte_length)? + count(page.repetition_levels_byte_length)?;
        return (count(page.num_nulls)? <= values && count(page.num_rows)? <= values && levels <= size)
            .then_some(values);
    }
    Some(0)
}
