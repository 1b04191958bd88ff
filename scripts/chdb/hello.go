package main

import "encoding/binary"

// helloStatement is what clickhouse-go asks first. It reads the answer as the
// native protocol's newest version has it, and everything after it as the version
// that the answer names.
const helloStatement = "SELECT displayName(), version(), revision(), timezone()"

// hello is the answer to it: one block of one row. The version that it names is
// 0, for which a block is as the engine writes it in the format Native.
func hello(version, timezone string) []byte {
	block := []byte{
		1, 0, // its number 1: no overflow
		2, 255, 255, 255, 255, // its number 2: no bucket
		0,    // no more of that
		4, 1, // columns and rows
	}
	column := func(name, kind string, value []byte) {
		block = append(append(text(block, name), text(nil, kind)...), 0) // 0: serialised in the usual way
		block = append(block, value...)
	}
	column("displayName()", "String", text(nil, "daysheet-test"))
	column("version()", "String", text(nil, version))
	column("revision()", "UInt32", []byte{0, 0, 0, 0})
	column("timezone()", "String", text(nil, timezone))
	return block
}

// text appends a text as the protocol writes it, its length first.
func text(block []byte, s string) []byte {
	return append(binary.AppendUvarint(block, uint64(len(s))), s...)
}
