package analysis

// Takes are recordings of one signal in one state of the board that are had one
// at a time: of a long one at a high rate, several would fill a laptop's memory.
type Takes struct {
	N int
	// Load gives recording t, from 0. It may be asked for the same one again.
	Load func(t int) (*Recording, error)
}

// InMemory are recordings that are there already.
func InMemory(recs []*Recording) Takes {
	return Takes{len(recs), func(t int) (*Recording, error) { return recs[t], nil }}
}

// each gives each recording to read, in order.
func (ts Takes) each(read func(t int, rec *Recording) error) error {
	for t := range ts.N {
		rec, err := ts.Load(t)
		if err != nil {
			return err
		}
		if err := read(t, rec); err != nil {
			return err
		}
	}
	return nil
}

// withoutSamples is what there is to know of r beside its samples.
func (r *Recording) withoutSamples() *Recording {
	known := *r
	known.Samples = nil
	return &known
}
