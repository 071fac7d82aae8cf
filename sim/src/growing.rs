use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// A file under another name until it is complete, so that nobody finds half of one. Given up
/// half-way it leaves nothing behind.
#[derive(Debug)]
pub(crate) struct Growing {
    file: BufWriter<File>,
    growing: PathBuf,
    complete: PathBuf,
    kept: bool,
}

impl Growing {
    /// Begins the file `name` in `directory`, which is made where it is missing.
    pub(crate) fn create(directory: &Path, name: &str) -> io::Result<Self> {
        let growing = directory.join(format!(".{name}.part"));
        fs::create_dir_all(directory)?;
        Ok(Self {
            file: BufWriter::new(File::create(&growing)?),
            growing,
            complete: directory.join(name),
            kept: false,
        })
    }

    /// The file is complete: gives it its name.
    pub(crate) fn keep(&mut self) -> io::Result<()> {
        self.file.flush()?;
        fs::rename(&self.growing, &self.complete)?;
        self.kept = true;
        Ok(())
    }
}

impl Write for Growing {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Drop for Growing {
    fn drop(&mut self) {
        if !self.kept {
            // If even that fails there is nothing more to do.
            let _ = fs::remove_file(&self.growing);
        }
    }
}
