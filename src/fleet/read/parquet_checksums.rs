//! Checksums of pages, which the Parquet writer leaves out, put into their headers as the format has it, and a seal on the whole
//! of a file that is written here.

use std::fs::File;
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom};

use polars_parquet_format::thrift::protocol::{TCompactInputProtocol, TCompactOutputProtocol};
use polars_parquet_format::{ColumnChunk, FileMetaData, PageHeader};

/// First and last bytes of every file.
const MAGIC: &[u8] = b"PAR1";
/// Length of the description and the last magic.
const TAIL: usize = 8;

/// Stands before the description, where other programs look for nothing, with the CRC-32 of all before it and of all behind it: the
/// checksums of pages leave out their headers. Whoever writes the file anew leaves the seal behind.
const SEAL: &[u8] = b"ldsealed";
const SEAL_LENGTH: usize = 16;

/// The same file with a CRC-32 in every page's header; readers that know of them refuse a page that does not agree. A file with
/// filters or index pages is given back as it is, as is one that is no file; indexes of pages, which are optional, are left out.
pub(crate) fn with_checksums(bytes: Vec<u8>) -> Vec<u8> {
    checked(&bytes).unwrap_or(bytes)
}

fn checked(bytes: &[u8]) -> Option<Vec<u8>> {
    let body = bytes.len().checked_sub(TAIL)?;
    let (length, end) = bytes.get(body..)?.split_at(4);
    let length = u32::from_le_bytes(length.try_into().ok()?) as usize;
    let description = bytes.get(body.checked_sub(length)?..body)?;
    if !bytes.starts_with(MAGIC) || end != MAGIC {
        return None;
    }
    let mut protocol = TCompactInputProtocol::new(description, description.len().checked_mul(64)?);
    let mut file = FileMetaData::read_from_in_protocol(&mut protocol).ok()?;
    let mut out = Vec::with_capacity(bytes.len() + bytes.len() / 50);
    out.extend_from_slice(MAGIC);
    for group in &mut file.row_groups {
        let begun = i64::try_from(out.len()).ok()?;
        let mut grown = 0;
        for column in &mut group.columns {
            grown += column_with_checksums(bytes, column, &mut out)?;
        }
        group.total_byte_size += grown;
        group.total_compressed_size = group.total_compressed_size.map(|size| size + grown);
        group.file_offset = group.file_offset.map(|_| begun);
    }
    let mut end = Vec::new();
    file.write_to_out_protocol(&mut TCompactOutputProtocol::new(&mut end)).ok()?;
    let length = u32::try_from(end.len()).ok()?;
    end.extend_from_slice(&length.to_le_bytes());
    end.extend_from_slice(MAGIC);
    let sums = [crc32fast::hash(&out), crc32fast::hash(&end)];
    out.extend_from_slice(SEAL);
    sums.iter().for_each(|sum| out.extend_from_slice(&sum.to_le_bytes()));
    out.extend_from_slice(&end);
    Some(out)
}

/// Whether a file that this program wrote holds what it held then, headers and description included. A file without a seal, which
/// any other program's is, is not judged.
pub(crate) fn is_as_written(file: &File) -> io::Result<bool> {
    let mut reader = BufReader::with_capacity(1 << 18, file);
    let size = reader.seek(SeekFrom::End(0))?;
    let mut tail = [0; TAIL];
    if size < (TAIL + SEAL_LENGTH) as u64 {
        return Ok(true);
    }
    reader.seek(SeekFrom::Start(size - TAIL as u64))?;
    reader.read_exact(&mut tail)?;
    let [a, b, c, d, ..] = tail;
    let end = u64::from(u32::from_le_bytes([a, b, c, d])) + TAIL as u64;
    let Some(pages) = size.checked_sub(end + SEAL_LENGTH as u64) else { return Ok(true) };
    let mut seal = [0; SEAL_LENGTH];
    reader.seek(SeekFrom::Start(pages))?;
    reader.read_exact(&mut seal)?;
    let Some(stated) = seal.strip_prefix(SEAL) else { return Ok(true) };
    let mut sums = [0; 8];
    reader.seek(SeekFrom::Start(0))?;
    sums[..4].copy_from_slice(&checksum(&mut reader, pages)?.to_le_bytes());
    reader.seek(SeekFrom::Start(size - end))?;
    sums[4..].copy_from_slice(&checksum(&mut reader, end)?.to_le_bytes());
    Ok(*stated == sums)
}

/// CRC-32 of the next bytes.
pub(crate) fn checksum(reader: &mut impl BufRead, mut left: u64) -> io::Result<u32> {
    let mut hasher = crc32fast::Hasher::new();
    while left > 0 {
        let bytes = reader.fill_buf()?;
        let taken = bytes.len().min(usize::try_from(left).unwrap_or(usize::MAX));
        if taken == 0 {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        hasher.update(bytes.get(..taken).unwrap_or_default());
        reader.consume(taken);
        left -= taken as u64;
    }
    Ok(hasher.finalize())
}

/// Writes the pages of a column with their checksums and its description behind them; gives by how many bytes the pages grew.
fn column_with_checksums(bytes: &[u8], column: &mut ColumnChunk, out: &mut Vec<u8>) -> Option<i64> {
    // the indexes of pages name places that move: they are optional, and left out
    (column.offset_index_offset, column.offset_index_length) = (None, None);
    (column.column_index_offset, column.column_index_length) = (None, None);
    let meta = column.meta_data.as_mut()?;
    if meta.bloom_filter_offset.is_some() || meta.index_page_offset.is_some() {
        return None;
    }
    let place = |offset: i64| usize::try_from(offset).ok();
    let start = place(meta.dictionary_page_offset.unwrap_or(meta.data_page_offset))?;
    let data = place(meta.data_page_offset)?;
    let end = start.checked_add(place(meta.total_compressed_size)?)?;
    let begun = out.len();
    let (mut at, mut first_data) = (start, None);
    while at < end {
        if at == data {
            first_data = Some(i64::try_from(out.len()).ok()?);
        }
        let mut rest = bytes.get(at..end)?;
        let room = rest.len();
        let mut protocol = TCompactInputProtocol::new(&mut rest, room);
        let mut header = PageHeader::read_from_in_protocol(&mut protocol).ok()?;
        let head = room - rest.len();
        let page = rest.get(..place(i64::from(header.compressed_page_size))?)?;
        header.crc = Some(crc32fast::hash(page).cast_signed());
        header.write_to_out_protocol(&mut TCompactOutputProtocol::new(&mut *out)).ok()?;
        out.extend_from_slice(page);
        at += head + page.len();
    }
    let now = i64::try_from(out.len() - begun).ok()?;
    let grown = now - meta.total_compressed_size;
    if meta.dictionary_page_offset.is_some() {
        meta.dictionary_page_offset = Some(i64::try_from(begun).ok()?);
    }
    meta.data_page_offset = first_data?;
    meta.total_compressed_size = now;
    meta.total_uncompressed_size += grown;
    column.file_offset = i64::try_from(out.len()).ok()?;
    meta.write_to_out_protocol(&mut TCompactOutputProtocol::new(&mut *out)).ok()?;
    Some(grown)
}

#[cfg(test)]
mod tests {
    use polars::prelude::{Column, DataFrame, NamedFrom, ParquetWriter, SerReader, Series};

    use super::*;

    #[test]
    fn a_file_with_checksums_reads_as_the_one_without() {
        let texts: Vec<String> = (0..5_000).map(|at| format!("name {}", at % 700)).collect();
        let numbers: Vec<f64> = (0..5_000).map(|at| f64::from(at) * 0.37).collect();
        let columns = vec![Column::from(Series::new("text".into(), texts)), Series::new("mm".into(), numbers).into()];
        let mut frame = DataFrame::new_infer_height(columns).unwrap();
        let mut plain = Vec::new();
        ParquetWriter::new(&mut plain).with_row_group_size(Some(1_500)).finish(&mut frame).unwrap();
        let checked = with_checksums(plain.clone());
        assert!(checked != plain);
        let read = polars::prelude::ParquetReader::new(std::io::Cursor::new(&checked)).finish().unwrap();
        assert!(read.equals_missing(&frame));
        // twice is once
        assert_eq!(with_checksums(checked.clone()), checked);
        assert_eq!(with_checksums(b"PAR1 no file".to_vec()), b"PAR1 no file");
    }
}
