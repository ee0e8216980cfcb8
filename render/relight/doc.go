// Package relight makes other light of a picture that was rendered with passes of its lights, without rays: transport is linear,
// so the picture is the sum of the passes, each times a gain for each channel. Other brightness and colour of lights are exact; other
// places and shapes need a render.
package relight
