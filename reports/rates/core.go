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
	rounds int
}

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
	var mean, square float64
	for _, v := range y {
		mean += v / float64(len(y))
	}
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

// run repeats rounds until no variance moves by more than the tolerance. A
// second run goes on from the first, for changed y.
func (c *core) run() {
	before := make([]float64, len(c.tau))
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

// averages fills the leaves from their rows.
func (c *core) averages() {
	leaves, first := c.nodes[c.tree.leaves()], c.tree.first[c.tree.leaves()]
	for t, sigma := range c.sigmas {
		for j := c.leafOf[t]; j < c.leafOf[t+1]; j++ {
			var w, wy float64
			for i := int(first[j]); i < int(first[j+1]); i++ {
				wi := c.weight(i)
				w += wi
				wy += wi * c.y[i]
			}
			leaves[j].m, leaves[j].v = wy/w, sigma/w
		}
	}
}

// up finds the variance between groups level by level from the leaves, and the
// average of each group from its children's.
func (c *core) up() {
	for l := c.tree.leaves(); l >= 1; l-- {
		first, kids, groups := c.tree.first[l-1], c.nodes[l], c.nodes[l-1]
		c.tau[l] = pauleMandel(first, kids, c.tau[l], c.set.a0, c.set.t0[l])
		for p := range groups {
			var w, wm float64
			for k := first[p]; k < first[p+1]; k++ {
				wk := 1 / (c.tau[l] + kids[k].v)
				w += wk
				wm += wk * kids[k].m
			}
			groups[p].m, groups[p].v = wm/w, 1/w
		}
	}
}

// descend gives every node its estimate, from the firm down. The firm's group
// is the quote book: mean 0 and the variance of the prior.
func (c *core) descend() {
	root := &c.nodes[0][0]
	root.z = 1
	if !c.set.flatRoot {
		root.z = c.tau[0] / (c.tau[0] + root.v)
	}
	root.mean, root.c = root.z*root.m, root.z*root.v
	for l := 1; l < len(c.nodes); l++ {
		first, kids, tau := c.tree.first[l-1], c.nodes[l], c.tau[l]
		for p, group := range c.nodes[l-1] {
			for k := first[p]; k < first[p+1]; k++ {
				n := &kids[k]
				n.z = tau / (tau + n.v)
				n.mean = n.z*n.m + (1-n.z)*group.mean
				n.c = n.z*n.v + (1-n.z)*(1-n.z)*group.c
			}
		}
	}
}

// reweigh gives rows far from their estimate less weight and renews the
// variance of a row, for all and for each task.
func (c *core) reweigh() {
	leaves, first := c.nodes[c.tree.leaves()], c.tree.first[c.tree.leaves()]
	normal := math.IsInf(c.set.nu, 1)
	squares, weights := make([]float64, len(c.sigmas)), make([]float64, len(c.sigmas))
	square, weight := c.set.sigmaRows*c.set.sigmaPrior, c.set.sigmaRows
	for t, sigma := range c.sigmas {
		for j := c.leafOf[t]; j < c.leafOf[t+1]; j++ {
			mean, spread := leaves[j].mean, leaves[j].c
			for i := int(first[j]); i < int(first[j+1]); i++ {
				r := c.y[i] - mean
				r2 := r*r + spread
				if !normal {
					c.u[i] = (c.set.nu + 1) / (c.set.nu + r2/sigma)
				}
				w := c.weight(i)
				weights[t] += w
				squares[t] += w * r2
			}
		}
		square += squares[t]
		weight += weights[t]
	}
	c.sigma = max(square/weight, sigmaFloor)
	for t := range c.sigmas {
		c.sigmas[t] = c.sigma
		if !c.set.oneSigma {
			c.sigmas[t] = max((priorTask*c.sigma+squares[t])/(priorTask+weights[t]), sigmaFloor)
		}
	}
}
