package rates

import "math"

// core fits one tree: variances up, estimates down, then the weights of rows,
// until nothing changes.
type core struct {
	set    settings
	tree   *tree
	nodes  [][]node // by level
	y      []float64
	d      []float64 // given weights of rows; nil where all are 1
	u      []float64 // robust weights
	tau    []float64 // variance between the nodes of a level within their group; [0] is the root's prior
	sigma  float64   // variance of a row
	sigmas []float64 // the same by task
	leafOf []int32   // first leaf of each task, and the end
	sums   []sums    // of leaves
	blocks []block   // of leaves
	split  [][]int32 // by level: the first group of each block of groups, and the end
	rounds int
}

// sums are those of a leaf's rows: of weights, of weighted y, and of weighted squares.
type sums struct{ w, wy, w2 float64 }

// block is leaves whose rows are worth a processor of their own, lo to hi-1, with the
// task and the group of the first.
type block struct{ lo, hi, task, group int32 }

// newCore makes ready to fit y, which stands in the order of the tree and is not
// empty.
func newCore(set settings, t *tree, y, d []float64) *core {
	c := &core{set: set, tree: t, y: y, d: d, u: make([]float64, len(y)), tau: make([]float64, len(t.first)),
		sigmas: make([]float64, t.count(1)), leafOf: make([]int32, t.count(1)+1), nodes: make([][]node, len(t.first))}
	for l := range c.nodes {
		c.nodes[l] = make([]node, t.count(l))
	}
	for j := range c.leafOf {
		c.leafOf[j] = int32(t.down(1, j, t.leaves()))
	}
	c.sums = make([]sums, t.count(t.leaves()))
	c.divide()
	var mean, square float64
	for _, v := range y {
		mean += v
	}
	mean /= float64(len(y))
	for i, v := range y {
		square += (v - mean) * (v - mean)
		c.u[i] = 1
	}
	c.sigma = max(square/float64(len(y))/2, 1e-4)
	for t := range c.sigmas {
		c.sigmas[t] = c.sigma
	}
	for l := 1; l < len(c.tau); l++ {
		c.tau[l] = c.sigma / 4
	}
	c.tau[0] = set.t0[0]
	return c
}

// divide makes the blocks.
func (c *core) divide() {
	c.split = make([][]int32, c.tree.leaves())
	for l := range c.split {
		first, groups := c.tree.first[l], int32(c.tree.count(l))
		c.split[l] = append(c.split[l], 0)
		for p, from := int32(1), int32(0); p <= groups; p++ {
			if p == groups || first[p]-first[from] >= blockRows {
				c.split[l] = append(c.split[l], p)
				from = p
			}
		}
	}
	rows, leaves := c.tree.first[c.tree.leaves()], int32(len(c.sums))
	groups := c.tree.first[c.tree.leaves()-1]
	b := block{}
	for leaf := int32(1); leaf <= leaves; leaf++ {
		if leaf < leaves && rows[leaf]-rows[b.lo] < blockRows {
			continue
		}
		b.hi = leaf
		c.blocks = append(c.blocks, b)
		b.lo = leaf
		for leaf < leaves && c.leafOf[b.task+1] <= leaf {
			b.task++
		}
		for leaf < leaves && groups[b.group+1] <= leaf {
			b.group++
		}
	}
}

// run repeats rounds until no variance moves by more than the tolerance. A
// second run goes on from the first, for changed y.
func (c *core) run() {
	before := make([]float64, len(c.tau))
	c.add()
	for range c.set.rounds {
		c.rounds++
		copy(before, c.tau)
		sigma := c.sigma
		c.averages()
		c.up()
		c.descend()
		c.reweigh()
		moved := math.Abs(c.sigma - sigma)
		for l := range c.tau {
			moved = max(moved, math.Abs(c.tau[l]-before[l]))
		}
		if moved < c.set.tolerance {
			return
		}
	}
}

// weight is what row i counts.
func (c *core) weight(i int) float64 {
	if c.d == nil {
		return c.u[i]
	}
	return c.d[i] * c.u[i]
}

// add fills in the sums of the leaves from their rows.
func (c *core) add() {
	first := c.tree.first[c.tree.leaves()]
	inBlocks(len(c.blocks), func(b int) {
		for j := c.blocks[b].lo; j < c.blocks[b].hi; j++ {
			var s sums
			for i := int(first[j]); i < int(first[j+1]); i++ {
				w := c.weight(i)
				s.w += w
				s.wy += w * c.y[i]
			}
			c.sums[j] = s
		}
	})
}

// averages fills the leaves from their sums.
func (c *core) averages() {
	leaves := c.nodes[c.tree.leaves()]
	inBlocks(len(c.blocks), func(n int) {
		b := c.blocks[n]
		for j := b.lo; j < b.hi; j++ {
			for c.leafOf[b.task+1] <= j {
				b.task++
			}
			leaves[j].m, leaves[j].v = c.sums[j].wy/c.sums[j].w, c.sigmas[b.task]/c.sums[j].w
		}
	})
}

// up finds the variance between groups level by level from the leaves, and the
// average of each group from its children's.
func (c *core) up() {
	for l := c.tree.leaves(); l >= 1; l-- {
		first, kids, groups := c.tree.first[l-1], c.nodes[l], c.nodes[l-1]
		split := c.split[l-1]
		c.tau[l] = pauleMandel(first, split, kids, c.tau[l], c.set.a0, c.set.t0[l])
		inBlocks(len(split)-1, func(b int) {
			for p := split[b]; p < split[b+1]; p++ {
				var w, wm float64
				for k := first[p]; k < first[p+1]; k++ {
					wk := 1 / (c.tau[l] + kids[k].v)
					w += wk
					wm += wk * kids[k].m
				}
				groups[p].m, groups[p].v = wm/w, 1/w
			}
		})
	}
}

// descend gives every node above the leaves its estimate, from the firm down. The
// firm's group is the quote book: mean 0 and the variance of the prior.
func (c *core) descend() {
	root := &c.nodes[0][0]
	root.z = 1
	if !c.set.flatRoot {
		root.z = c.tau[0] / (c.tau[0] + root.v)
	}
	root.mean, root.c = root.z*root.m, root.z*root.v
	for l := 1; l < c.tree.leaves(); l++ {
		first, kids := c.tree.first[l-1], c.nodes[l]
		for p := range c.nodes[l-1] {
			for k := first[p]; k < first[p+1]; k++ {
				kids[k].estimate(c.tau[l], &c.nodes[l-1][p])
			}
		}
	}
}

// estimate blends the node's own average with the estimate of its group.
func (n *node) estimate(tau float64, group *node) {
	n.z = tau / (tau + n.v)
	n.mean = n.z*n.m + (1-n.z)*group.mean
	n.c = n.z*n.v + (1-n.z)*(1-n.z)*group.c
}

// reweigh gives the leaves their estimates, rows far from theirs less weight, and
// renews the variance of a row, for all and for each task.
func (c *core) reweigh() {
	inBlocks(len(c.blocks), func(b int) { c.reweighBlock(c.blocks[b]) })
	square, weight := c.set.sigmaRows*c.set.sigmaPrior, c.set.sigmaRows
	tasks := make([]sums, len(c.sigmas))
	for t := range tasks {
		for _, s := range c.sums[c.leafOf[t]:c.leafOf[t+1]] {
			tasks[t].w += s.w
			tasks[t].w2 += s.w2
		}
		square += tasks[t].w2
		weight += tasks[t].w
	}
	c.sigma = max(square/weight, sigmaFloor)
	for t, s := range tasks {
		c.sigmas[t] = c.sigma
		if !c.set.oneSigma {
			c.sigmas[t] = max((priorTask*c.sigma+s.w2)/(priorTask+s.w), sigmaFloor)
		}
	}
}

// reweighBlock does it for the leaves of a block, and adds up their rows for the next
// round on the way.
func (c *core) reweighBlock(b block) {
	last := c.tree.leaves()
	leaves, groups, first := c.nodes[last], c.tree.first[last-1], c.tree.first[last]
	for j := b.lo; j < b.hi; j++ {
		for c.leafOf[b.task+1] <= j {
			b.task++
		}
		for groups[b.group+1] <= j {
			b.group++
		}
		leaf := &leaves[j]
		leaf.estimate(c.tau[last], &c.nodes[last-1][b.group])
		lo, hi := first[j], first[j+1]
		var d []float64
		if c.d != nil {
			d = c.d[lo:hi]
		}
		c.sums[j] = reweighRows(c.y[lo:hi], c.u[lo:hi], d, leaf.mean, leaf.c, c.sigmas[b.task], c.set.nu)
	}
}

// reweighRows does it for the rows of one leaf, whose estimate has the variance
// spread. d is nil where all given weights are 1.
func reweighRows(y, u, d []float64, mean, spread, sigma, nu float64) sums {
	var w, wy, w2 float64
	normal := math.IsInf(nu, 1)
	top, rest := (nu+1)*sigma, nu*sigma+spread
	u = u[:len(y)]
	if d == nil && !normal {
		for i, v := range y {
			r := v - mean
			r *= r
			ui := top / (rest + r)
			u[i] = ui
			w += ui
			wy += ui * v
			w2 += ui * r
		}
		return sums{w, wy, w2 + w*spread}
	}
	for i, v := range y {
		r2 := (v-mean)*(v-mean) + spread
		if !normal {
			u[i] = top / (nu*sigma + r2)
		}
		wi := u[i]
		if d != nil {
			wi *= d[i]
		}
		w += wi
		wy += wi * v
		w2 += wi * r2
	}
	return sums{w, wy, w2}
}
