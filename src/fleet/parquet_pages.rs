//! The headers of a Parquet file's pages, held against its description before anything is decoded.

use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::ops::Range;

use polars_parquet_format::thrift::protocol::TCompactInputProtocol;
use polars_parquet_format::{PageHeader, PageType};

/// Longest header of a page, its statistics included, bytes.
const LONGEST_HEADER: u64 = 16 << 20;

/// One column of one row group, as the description of the file has it.
#[derive(Debug, Clone)]
pub(super) struct ColumnChunk {
    /// Where its pages lie.
    pub(super) bytes: Range<u64>,
    /// How many values its pages hold in all.
    pub(super) values: u64,
    /// How long its pages are once they are unpacked, with their headers.
    pub(super) unpacked: u64,
}

/// Whether the pages of a column agree with its description in number and size. A decoder that is told of more values than
/// there are would ask for more memory than there is, and that ends a process.
pub(super) fn is_sound(file: &File, chunk: &ColumnChunk) -> bool {
    read(file, chunk).is_some_and(|values| values == chunk.values)
}

/// How many values the pages say they hold; `None`: a header contradicts the description.
fn read(file: &File, chunk: &ColumnChunk) -> Option<u64> {
    let mut reader = BufReader::new(file);
    let mut at = chunk.bytes.start;
    reader.seek(SeekFrom::Start(at)).ok()?;
    let (mut values, mut unpacked) = (0_u64, 0_u64);
    while at < chunk.bytes.end {
        let room = (chunk.bytes.end - at).min(LONGEST_HEADER);
        let mut head = reader.by_ref().take(room);
        let mut protocol = TCompactInputProtocol::new(&mut head, usize::try_from(room).ok()?);
        let header = PageHeader::read_from_in_protocol(&mut protocol).ok()?;
        let length = room - head.limit();
        let packed = u64::try_from(header.compressed_page_size).ok()?;
        unpacked += length + u64::try_from(header.uncompressed_page_size).ok()?;
        if packed > chunk.bytes.end - at - length || unpacked > chunk.unpacked {
            return None;
        }
        values += of_page(&header)?;
        if values > chunk.values {
            return None;
        }
        reader.seek_relative(i64::try_from(packed).ok()?).ok()?;
        at += length + packed;
    }
    Some(values)
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
