package light

import "catchlight/scene/colour"

// NewConstant makes light that arrives with the same radiance, in W/(m^2 sr), from everywhere.
func NewConstant(name string, radiance colour.RGB) (*Light, error) {
	c := checker{name: name}
	c.radiance("radiance", radiance)
	if err := c.err(); err != nil {
		return nil, err
	}
	return &Light{Name: name, Kind: Constant, radiance: radiance, meanLum: radiance.Luminance()}, nil
}
