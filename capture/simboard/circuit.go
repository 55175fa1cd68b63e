package simboard

import "math/cmplx"

// Nodes that every circuit has: ground, and the one that the circuit's
// voltage source holds.
const (
	ground = iota
	driven
	firstFree
)

// branch is R, L and C in series between two nodes; farads of 0 means that
// there is no capacitor in it, not an open one.
type branch struct {
	a, b                 int
	ohms, henrys, farads float64
}

func (b branch) admittance(s complex128) complex128 {
	z := complex(b.ohms, 0) + s*complex(b.henrys, 0)
	if b.farads > 0 {
		z += 1 / (s * complex(b.farads, 0))
	}
	return 1 / z
}

// coupled is a pair of coupled inductors, each from its node to ground.
type coupled struct {
	p, q         int
	selfP, selfQ float64 // henrys
	mutual       float64 // henrys, negative where one winding is reversed
}

// circuit is a linear, reciprocal network driven at one node.
type circuit struct {
	nodes        int // grounds and driven node included
	branches     []branch
	transformers []coupled
}

func (c *circuit) node() int {
	c.nodes++
	return c.nodes - 1
}

func newCircuit() circuit { return circuit{nodes: firstFree} }

func (c *circuit) add(a, b int, ohms, henrys, farads float64) {
	c.branches = append(c.branches, branch{a, b, ohms, henrys, farads})
}

// shunt adds a resistor and a capacitor to ground, each where it is not 0.
func (c *circuit) shunt(node int, ohms, farads float64) {
	if ohms > 0 {
		c.add(node, ground, ohms, 0, 0)
	}
	if farads > 0 {
		c.add(node, ground, 0, 0, farads)
	}
}

// solve returns the node voltages for 1 V at the driven node and, for each
// probe, the voltage at every node for 1 A into the probe with the driven
// node at 0 V. As the network is reciprocal, the latter are also the
// voltages at the probe for 1 A into every node.
func (c *circuit) solve(s complex128, probes []int) (drive []complex128, probed [][]complex128) {
	n, rhs := c.nodes-firstFree, 1+len(probes)
	m := make([][]complex128, n)
	for i := range m {
		m[i] = make([]complex128, n+rhs)
	}
	stamp := func(a, b int, y complex128) {
		switch {
		case a < firstFree:
		case b == ground:
		case b == driven:
			m[a-firstFree][n] -= y
		default:
			m[a-firstFree][b-firstFree] += y
		}
	}
	for _, b := range c.branches {
		y := b.admittance(s)
		stamp(b.a, b.a, y)
		stamp(b.b, b.b, y)
		stamp(b.a, b.b, -y)
		stamp(b.b, b.a, -y)
	}
	for _, t := range c.transformers {
		det := s * complex(t.selfP*t.selfQ-t.mutual*t.mutual, 0)
		stamp(t.p, t.p, complex(t.selfQ, 0)/det)
		stamp(t.q, t.q, complex(t.selfP, 0)/det)
		stamp(t.p, t.q, complex(-t.mutual, 0)/det)
		stamp(t.q, t.p, complex(-t.mutual, 0)/det)
	}
	for i, p := range probes {
		m[p-firstFree][n+1+i] = 1
	}
	eliminate(m)
	column := func(j int, atDriven complex128) []complex128 {
		v := make([]complex128, c.nodes)
		v[driven] = atDriven
		for i := range m {
			v[i+firstFree] = m[i][j]
		}
		return v
	}
	for i := range probes {
		probed = append(probed, column(n+1+i, 0))
	}
	return column(n, 1), probed
}

// eliminate turns the left square of m into the identity (Gauss-Jordan with
// partial pivoting).
func eliminate(m [][]complex128) {
	for col := range m {
		pivot := col
		for r := col + 1; r < len(m); r++ {
			if cmplx.Abs(m[r][col]) > cmplx.Abs(m[pivot][col]) {
				pivot = r
			}
		}
		m[col], m[pivot] = m[pivot], m[col]
		inv := 1 / m[col][col]
		for j := range m[col] {
			m[col][j] *= inv
		}
		for r := range m {
			if r == col || m[r][col] == 0 {
				continue
			}
			f := m[r][col]
			for j := range m[r] {
				m[r][j] -= f * m[col][j]
			}
		}
	}
}
