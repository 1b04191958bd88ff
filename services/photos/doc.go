// Package photos keeps the photos that events name by their digest.
//
// A photo is a file whose name is the SHA-256 of its bytes, so that it can be
// sent again and again, is kept once, never changes, and proves itself: what was
// damaged on the disk no longer has its name. Each firm has a folder of its own,
// and the same photo sent by two firms is kept twice.
//
// What comes in is not trusted. It is read as JPEG, PNG or WebP by its content,
// measured before it is decoded, decoded whole, and refused where it carries a
// position or anything behind the picture: see [Folder.Put].
//
// An event can be recorded before its photo has arrived. The list of a job's
// photos says which are missing.
package photos
