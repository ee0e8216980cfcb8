package eye

// tissue is the baked relief and make-up of the iris.
type tissue struct{}

func (t *tissue) height(x, y float64) float64 { return 0 }
