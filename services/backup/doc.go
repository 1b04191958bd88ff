// Package backup writes a ledger into archives, proves them, and makes a ledger of them
// again.
//
// # What an archive is
//
// A tar file, packed with Zstandard, so that "tar --zstd -tf" lists it; the last 40 bytes
// are a frame that unpacking passes over and that holds the SHA-256 of everything before.
// One that is encrypted has the age format around all of that. In this order it holds:
//
//	backup.json                     what it is, and which archive it goes on from
//	log/<partition>/<sequence>      commits from that sequence on, a line for each:
//	                                sequence, subject, the bytes of the commit
//	photos/<firm>/<sha256>          photos, by their name
//	access/<file>                   tokens, people and links, secrets hashed; changes that wait to be recorded
//	signing/<firm>.pem              keys that firms sign papers with
//	erased.json                     which customers were erased
//	heads.jsonl                     where the chain of every job ends
//	photos.txt                      every photo of the ledger, also those of earlier archives
//	manifest.json                   size and SHA-256 of everything above, and where the log ends
//
// The SHA-256 of the manifest is the name of the archive. An archive that goes on from an
// earlier one names it, and holds what came to the log and to the photos since; access,
// signing keys and lists are small and always whole. Who is signed in is in no archive:
// after a restore everybody signs in again.
//
// # What is apart
//
// The keys of customers are in an archive of their own, always all of them. Without it
// nobody can read in the other what is personal of a customer. Restoring them passes over
// every customer whom any of the archives, their logs, or a list that is given besides,
// knows as erased.
package backup
