// Package sealing keeps a key for each customer and seals what is personal with it.
// The log is for ever; a key can be destroyed, and with it everything that was
// sealed with it becomes unreadable, in the log and in every copy of it.
//
// What protects the keys: they stand in a folder of their own, one file for each
// customer, which only the user that runs the program can read (mode 0600 in a folder
// of mode 0700). They are not encrypted themselves. So whoever can read the folder
// and the log can read everything; whoever has the log alone, or a copy of it, can
// read nothing personal.
//
// What destroying a key means: the file is overwritten, put on disk, removed, and the
// folder is put on disk. A file system that never writes in place, a solid-state disk
// that moves blocks, and a backup of the folder may each hold the key for longer. So
// the folder belongs on an encrypted disk, and backups of it are kept apart from those
// of the log and no longer than they are needed. A restore never brings a key back
// that is on the list of erased customers, see [Keys.Restore].
package sealing
