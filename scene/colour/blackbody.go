package colour

import "fmt"

// BlackBody returns the colour of a black body of kelvin in [1700, 15000], linear Rec. 709, of luminance 1. Below some 1900 K blue would be
// negative and is 0.
//
// Source: Krystek, An Algorithm to Calculate Correlated Colour Temperature, Color Research and Application 10 (1985), 38 (u, v of the CIE
// 1960 diagram; the numbers from memory; at CIE standard illuminant A they are 1.4e-4 off).
func BlackBody(kelvin float64) (RGB, error) {
	if !(kelvin >= 1700 && kelvin <= 15000) {
		return RGB{}, fmt.Errorf("%g K is outside [1700, 15000] K", kelvin)
	}
	x, y := blackBodyAt(kelvin)
	m, err := Rec709.toXYZ()
	if err != nil {
		return RGB{}, err
	}
	if m, err = m.Inverse(); err != nil {
		return RGB{}, err
	}
	c := m.Apply(xyz(x, y))
	for i := range c {
		c[i] = max(0, c[i])
	}
	return c.Scale(1 / c.Luminance()), nil
}

// blackBodyAt returns the chromaticity of a black body, CIE 1931.
func blackBodyAt(t float64) (x, y float64) {
	u := (0.860117757 + 1.54118254e-4*t + 1.28641212e-7*t*t) / (1 + 8.42420235e-4*t + 7.08145163e-7*t*t)
	v := (0.317398726 + 4.22806245e-5*t + 4.20481691e-8*t*t) / (1 - 2.89741816e-5*t + 1.61456053e-7*t*t)
	d := 2*u - 8*v + 4
	return 3 * u / d, 2 * v / d
}
