use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// A file under another name until it is complete, so that nobody finds half of one. Given up
/// half-way it leaves nothing behind.
#[derive(Debug)]
pub(crate) struct Growing {
    file: BufWriter<File>,
    growing: PathBuf,
    complete: PathBuf,
    kept: bool,
}

/// What grows now, for [`give_up`], and the directories that were made for it.
#[derive(Default)]
struct All {
    files: Vec<PathBuf>,
    made: Vec<PathBuf>,
}

static GROWING: Mutex<All> = Mutex::new(All {
    files: Vec::new(),
    made: Vec::new(),
});

impl All {
    /// Removes a file, and the directory that was made for it if nothing else is in it. If even
    /// that fails there is nothing more to do.
    fn remove(&self, file: &Path) {
        let _ = fs::remove_file(file);
        for directory in self.made.iter().filter(|it| file.starts_with(it)) {
            let _ = fs::remove_dir(directory);
        }
    }
}

impl Growing {
    /// Begins the file `name` in `directory`, which is made where it is missing. Errors name the
    /// file.
    pub(crate) fn create(directory: &Path, name: &str) -> io::Result<Self> {
        let (growing, complete) = (
            directory.join(format!(".{name}.part")),
            directory.join(name),
        );
        // Whoever gives up either sees the file, or keeps it from being made.
        let created = with_all(|all| {
            if !directory.exists() {
                all.made.push(directory.to_owned());
            }
            let created = fs::create_dir_all(directory).and_then(|()| File::create(&growing))?;
            all.files.push(growing.clone());
            Ok(created)
        });
        let file = created.map_err(|error| named(&complete, &error))?;
        Ok(Self {
            file: BufWriter::new(file),
            growing,
            complete,
            kept: false,
        })
    }

    /// The file is complete: gives it its name.
    pub(crate) fn keep(&mut self) -> io::Result<()> {
        let done = self.file.flush();
        let done = done.and_then(|()| fs::rename(&self.growing, &self.complete));
        done.map_err(|error| named(&self.complete, &error))?;
        self.kept = true;
        Ok(())
    }
}

/// Files that are there already stay as they are, unless they may be written over.
#[cfg(feature = "cli")]
pub(crate) fn refuse_taken(
    directory: &Path,
    names: &[&str],
    overwrite: bool,
) -> Result<(), String> {
    let mut taken = names.iter().map(|name| directory.join(name));
    match taken.find(|path| !overwrite && path.exists()) {
        Some(path) => Err(format!(
            "{}: is there already; name another directory with --out, or add --overwrite",
            path.display()
        )),
        None => Ok(()),
    }
}

/// Texts in files, whole, but not yet under their names.
#[cfg(feature = "cli")]
pub(crate) fn grown<'n, T: AsRef<str>>(
    directory: &Path,
    texts: impl IntoIterator<Item = (&'n str, T)>,
) -> io::Result<Vec<Growing>> {
    let texts = texts.into_iter();
    let files = texts.map(|(name, text)| {
        let mut file = Growing::create(directory, name)?;
        file.write_all(text.as_ref().as_bytes())?;
        Ok(file)
    });
    files.collect()
}

/// Gives all of them their names.
#[cfg(feature = "cli")]
pub(crate) fn keep(files: Vec<Growing>) -> io::Result<()> {
    files.into_iter().try_for_each(|mut file| file.keep())
}

impl Write for Growing {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.file.write(bytes);
        written.map_err(|error| named(&self.complete, &error))
    }

    fn flush(&mut self) -> io::Result<()> {
        let flushed = self.file.flush();
        flushed.map_err(|error| named(&self.complete, &error))
    }
}

impl Drop for Growing {
    fn drop(&mut self) {
        with_all(|all| {
            all.files.retain(|path| *path != self.growing);
            if !self.kept {
                all.remove(&self.growing);
            }
        });
    }
}

/// Removes what grows and ends the program, by a signal: no other file begins to grow meanwhile.
#[cfg(feature = "cli")]
pub(crate) fn give_up(end: impl FnOnce()) {
    with_all(|all| {
        for path in std::mem::take(&mut all.files) {
            all.remove(&path);
        }
        end();
    });
}

fn with_all<T>(act: impl FnOnce(&mut All) -> T) -> T {
    act(&mut GROWING.lock().unwrap_or_else(PoisonError::into_inner))
}

fn named(path: &Path, error: &io::Error) -> io::Error {
    let message = format!("{}: cannot be written: {error}", path.display());
    io::Error::new(error.kind(), message)
}
