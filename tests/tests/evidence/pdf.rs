//! A PDF with files in it, as ISO 32000-2 §7.11.4 has them, packed by zlib.

use std::io::Write;

use flate2::Compression;
use flate2::write::ZlibEncoder;

/// One empty page and these files.
pub(crate) fn with_files(files: &[(&str, Vec<u8>)]) -> Vec<u8> {
    let mut names = String::new();
    let mut objects: Vec<Vec<u8>> = vec![
        Vec::new(),
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>".to_vec(),
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 612 792] >>".to_vec(),
    ];
    for (name, bytes) in files {
        let mut packer = ZlibEncoder::new(Vec::new(), Compression::default());
        packer.write_all(bytes).expect("a vector takes everything");
        let packed = packer.finish().expect("a vector takes everything");
        let mut stream =
            format!("<< /Type /EmbeddedFile /Filter /FlateDecode /Length {} >>\nstream\n", packed.len())
                .into_bytes();
        stream.extend(packed);
        stream.extend(b"\nendstream");
        objects.push(stream);
        let file = objects.len();
        objects.push(
            format!("<< /Type /Filespec /F ({name}) /UF ({name}) /EF << /F {file} 0 R >> >>").into_bytes(),
        );
        names.push_str(&format!("({name}) {} 0 R ", objects.len()));
    }
    objects[0] =
        format!("<< /Type /Catalog /Pages 2 0 R /Names << /EmbeddedFiles << /Names [{names}] >> >> >>")
            .into_bytes();
    let mut pdf = b"%PDF-1.7\n".to_vec();
    let mut table = String::from("0000000000 65535 f \n");
    for (object, number) in objects.iter().zip(1..) {
        table.push_str(&format!("{:010} 00000 n \n", pdf.len()));
        pdf.extend(format!("{number} 0 obj\n").into_bytes());
        pdf.extend(object);
        pdf.extend(b"\nendobj\n");
    }
    let (start, size) = (pdf.len(), objects.len() + 1);
    pdf.extend(
        format!(
            "xref\n0 {size}\n{table}trailer\n<< /Size {size} /Root 1 0 R >>\nstartxref\n{start}\n%%EOF\n"
        )
        .into_bytes(),
    );
    pdf
}
