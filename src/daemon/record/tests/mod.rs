//! Erasing, backups, restoring, retention and archives, on each database, with files beside it.

mod archive;
mod backup;
mod erase;
mod restore;
mod world;
