package rates

// tree says which nodes stand under which. Nodes of a level are numbered in the
// order of the alphabet within their group, so that the children of a node are
// neighbours, and so are its rows.
type tree struct {
	// first[l][j] is the first child of node j of level l, and first[l][j+1] the
	// one after its last. Below the deepest level are rows.
	first [][]int32
}

// count returns the number of nodes of a level.
func (t *tree) count(level int) int { return len(t.first[level]) - 1 }

// leaves returns the deepest level.
func (t *tree) leaves() int { return len(t.first) - 1 }

// down returns the first node of level to, or row where to is beyond the leaves,
// under node j of a level.
func (t *tree) down(level, j, to int) int {
	for ; level < to; level++ {
		j = int(t.first[level][j])
	}
	return j
}

// span returns the rows lo to hi-1 under a node.
func (t *tree) span(level, j int) (lo, hi int) {
	return t.down(level, j, len(t.first)), t.down(level, j+1, len(t.first))
}

// treeBuilder makes a tree of rows that come in its order.
type treeBuilder struct {
	first [][]int32
	rows  int32
}

func newTreeBuilder(levels, rows int) *treeBuilder {
	b := &treeBuilder{first: make([][]int32, levels)}
	b.first[levels-1] = make([]int32, 0, rows/2)
	return b
}

// row adds a row that starts a new node on each level from the given one on;
// with the number of levels it belongs to the last leaf.
func (b *treeBuilder) row(level int) {
	for l := level; l < len(b.first); l++ {
		below := b.rows
		if l+1 < len(b.first) {
			below = int32(len(b.first[l+1]))
		}
		b.first[l] = append(b.first[l], below)
	}
	b.rows++
}

func (b *treeBuilder) done() *tree {
	for l := range b.first {
		end := b.rows
		if l+1 < len(b.first) {
			end = int32(len(b.first[l+1])) // not closed yet: levels are closed from the top
		}
		b.first[l] = append(b.first[l], end)
	}
	return &tree{first: b.first}
}
