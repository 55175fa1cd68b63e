package simboard

import "math"

// A ladder is smooth in frequency, so it is solved at Chebyshev nodes on
// panels that are halved until the interpolation is good to panelTolerance;
// a take has up to a million bins and needs some hundred panels.
const (
	panelDegree    = 7
	panelTolerance = 1e-10
	panelMinHz     = 0.01
	panelMaxHalves = 14
)

// panel holds polynomials in x, which is -1 to 1 from lo to hi: those of the
// complex functions first, then those of the real ones.
type panel struct {
	lo, hi float64
	z      [][panelDegree + 1]complex128
	r      [][panelDegree + 1]float64
}

// panels covers panelMinHz to a highest frequency, lowest panel first.
type panels []panel

// interpolate covers l up to highHz.
func (l *ladder) interpolate(highHz float64) panels {
	var ps panels
	for lo := panelMinHz; lo < highHz; {
		hi := math.Min(lo*2, highHz)
		ps = l.panel(ps, lo, hi, panelMaxHalves)
		lo = hi
	}
	return ps
}

func (l *ladder) panel(ps panels, lo, hi float64, halves int) panels {
	p := panel{lo: lo, hi: hi}
	const n = panelDegree + 1
	var at [n]point
	for i := range at {
		x := math.Cos(math.Pi * (float64(i) + 0.5) / n)
		at[i] = l.at(lo + (hi-lo)*(x+1)/2)
	}
	good := true
	fit := func(value func(point) complex128) [n]complex128 {
		c := chebyshev(func(i int) complex128 { return value(at[i]) })
		largest := 0.0
		for _, v := range c {
			largest = math.Max(largest, square(v))
		}
		tail := math.Max(square(c[n-1]), square(c[n-2]))
		good = good && tail <= panelTolerance*panelTolerance*largest
		return monomials(c)
	}
	addReal := func(value func(point) float64) {
		c := fit(func(p point) complex128 { return complex(value(p), 0) })
		var r [n]float64
		for i := range c {
			r[i] = real(c[i])
		}
		p.r = append(p.r, r)
	}
	p.z = append(p.z, fit(func(p point) complex128 { return p.front }))
	addReal(func(p point) float64 { return p.frontNoise })
	for o := range l.outs {
		p.z = append(p.z, fit(func(p point) complex128 { return p.back[o] }))
		addReal(func(p point) float64 { return p.backNoise[o] })
	}
	if good || halves == 0 {
		return append(ps, p)
	}
	mid := (lo + hi) / 2
	return l.panel(l.panel(ps, lo, mid, halves-1), mid, hi, halves-1)
}

// chebyshev returns the coefficients of the interpolant through the values at
// the nodes cos(pi(i+1/2)/n).
func chebyshev(value func(int) complex128) (c [panelDegree + 1]complex128) {
	n := len(c)
	for j := range c {
		for i := range n {
			c[j] += value(i) * complex(math.Cos(math.Pi*float64(j)*(float64(i)+0.5)/float64(n))*2/float64(n), 0)
		}
	}
	c[0] /= 2
	return c
}

// monomials turns Chebyshev coefficients into those of powers of x; at degree
// 7 this costs two digits at most.
func monomials(c [panelDegree + 1]complex128) (m [panelDegree + 1]complex128) {
	var before, now [panelDegree + 1]float64
	now[0] = 1
	for j := range c {
		for i, v := range now {
			m[i] += c[j] * complex(v, 0)
		}
		var next [panelDegree + 1]float64
		factor := 2.0
		if j == 0 {
			factor = 1
		}
		for i := range next {
			if i > 0 {
				next[i] = factor * now[i-1]
			}
			next[i] -= before[i]
		}
		before, now = now, next
	}
	return m
}

// each calls visit for every bin k of a spectrum with bins stepHz apart, with
// a panel that holds it and its place x there. Bins under panelMinHz get the
// edge of the first panel: only bin 0 in practice, which the interface blocks.
func (ps panels) each(bins int, stepHz float64, visit func(k int, p *panel, x float64)) {
	k := 0
	for i := range ps {
		p := &ps[i]
		last := i == len(ps)-1
		scale := 2 / (p.hi - p.lo)
		for ; k < bins; k++ {
			f := float64(k) * stepHz
			if f >= p.hi && !last {
				break
			}
			visit(k, p, max((f-p.lo)*scale-1, -1))
		}
	}
}

func (p *panel) complexAt(i int, x float64) complex128 {
	c := &p.z[i]
	re, im := real(c[panelDegree]), imag(c[panelDegree])
	for j := panelDegree - 1; j >= 0; j-- {
		re = re*x + real(c[j])
		im = im*x + imag(c[j])
	}
	return complex(re, im)
}

func (p *panel) realAt(i int, x float64) float64 {
	c := &p.r[i]
	v := c[panelDegree]
	for j := panelDegree - 1; j >= 0; j-- {
		v = v*x + c[j]
	}
	return v
}
