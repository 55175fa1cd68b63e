package db

// syncDirs has nothing to do: Windows has no way to sync a folder, NTFS
// journals its names.
func syncDirs(fileSystem, ...string) error { return nil }
