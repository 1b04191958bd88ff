// Package tidy holds the house rules of DEVELOPERS.md as tests: what the rooms
// may import, how long things may be, and what may not stand in the tree.
package tidy
