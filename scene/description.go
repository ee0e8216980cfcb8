// Package scene says what there is: a Description in plain numbers, read from a scene file. It knows no physics and
// renders nothing.
//
// All lengths are in mm, angles in degrees, exposures in EV (stops). Colours are linear Rec. 709.
//
// Every field carries its own documentation in struct tags, from which the loader's checks, the printed reference
// of all keys and the commented example scene are made, so that they can't drift apart:
//
//	key      the name in the scene file
//	unit     the unit, where there is one
//	range    the allowed interval, for instance "(0,100]" or "[0,inf)"; for vectors and colours it holds for each component
//	drag     the range of a slider, where limits and default don't say it
//	built    the narrower interval for an eye that is built here, not taken from a file
//	acts     the eyes on which the key acts, where not on all: built, borrowed (an asset that borrows from the built eye)
//	oneof    the allowed words, separated by |
//	default  the value that an absent key gives, in YAML; "required" where there is none
//	source   where the default comes from: a publication, "common practice, no published source", "from memory" where the
//	         value is, "our own, by eye", "our own choice", or "neutral" where it changes nothing; numbers and colours have one
//	doc      one line of explanation
//	ends     the endings that a file name may have, separated by |
//	only     the values of the sibling `shape` or `kind` key for which this key may be given, separated by |
//	inline   the keys of this struct stand in the block itself, without a key of their own
package scene

import (
	"catchlight/scene/colour"
	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/plinth"
)

// Path is a file name; the loader resolves it against the folder of the scene file and checks that the file exists.
type Path string

// Description is a whole scene file.
type Description struct {
	Format     int        `key:"format" range:"[2,2]" default:"2" source:"this program" doc:"number of this form of scene files; older ones had other keys"`
	About      string     `key:"about" default:"" doc:"one line that says what the scene shows"`
	Picture    Picture    `key:"picture" doc:"size of the picture and how it is sampled"`
	Camera     Camera     `key:"camera" doc:"where the picture is taken from; without position and orbit it stands in front and frames what there is"`
	View       View       `key:"view" doc:"from radiance to display"`
	Effects    Effects    `key:"effects" doc:"switches that leave something out, for comparison; all on is the truth"`
	Advanced   Advanced   `key:"advanced" doc:"methods of the path tracer and limits; the defaults suit every scene"`
	Raster     Raster     `key:"raster" doc:"settings of the raster look: what a real-time renderer would fake, and what it may spend"`
	LightSetup LightSetup `key:"light_setup" doc:"what holds for all lights together"`
	Lights     []Light    `key:"lights" doc:"what shines; at least one light or emissive object"`
	Objects    []Object   `key:"objects" doc:"what there is to see"`
	Lids       string     `key:"lids" oneof:"scene|on|off" default:"scene" doc:"lids about the eyes: as each eye says, on all of them, or none"`

	File string // the scene file, for messages and relative paths; not a key

	source *source // what it was read from, for With
}

// Picture is the size of the picture and how it is sampled.
type Picture struct {
	Width       int     `key:"width" range:"[1,16384]" default:"640" source:"our own choice" unit:"px" doc:"width of the picture"`
	Height      int     `key:"height" range:"[1,16384]" default:"640" source:"our own choice" unit:"px" doc:"height of the picture"`
	Samples     int     `key:"samples" range:"[1,1048576]" default:"64" source:"our own choice" doc:"samples per pixel"`
	Error       float64 `key:"error" range:"[0,0.5]" default:"0" source:"neutral: changes nothing" doc:"stop each tile once its standard error is at most this share of the display signal, with samples as the most and 48 as the least; such pictures read low by up to 0.2 % of the mean; 0 gives every pixel that many samples"`
	Seed        int     `key:"seed" range:"[0,2147483647]" default:"1" source:"our own choice" doc:"seed of all random numbers"`
	Filter      string  `key:"filter" oneof:"gaussian|hann|tent|box" default:"gaussian" doc:"pixel reconstruction filter, importance sampled"`
	FilterWidth float64 `key:"filter_width" range:"[1,8]" default:"3" source:"our own choice: three deviations of a Gaussian of half a pixel either way" unit:"px" doc:"full width of the pixel filter (a box of width 1 is one pixel)"`
	Sharing     string  `key:"sharing" oneof:"splatting|none" default:"splatting" doc:"splatting lays each sample into all pixels that the filter reaches: the same filter with a third of the variance, in a coarser grain; none keeps each in the pixel that it was drawn for, so that the errors of pixels are independent"`
	Primaries   string  `key:"primaries" oneof:"rec709|p3-d65|rec2020|ap1" default:"rec709" source:"ITU-R BT.709-6" doc:"primaries and white of the colours in .exr files, which say them in their header (chromaticities); all other files are in Rec. 709"`
	Denoise     bool    `key:"denoise" default:"false" doc:"show the picture with its grain taken out: smoother, and no longer unbiased; linear files hold both"`
	Passes      Passes  `key:"passes" doc:"what .exr files hold besides the picture, each in a part of its own"`
}

// Passes says what is kept apart of a picture. Nothing of it changes the picture.
type Passes struct {
	Lights   bool `key:"lights" default:"false" doc:"what each light adds to the picture, and each environment from each of six sides; they add up to it"`
	Paths    bool `key:"paths" default:"false" doc:"the picture by the way that light took: seen directly, mirrored, passed through, scattered, focused by the cornea; they add up to it"`
	Surfaces bool `key:"surfaces" default:"false" doc:"colour of tissue through the cornea, normals, position, depth, map coordinates, zones and parts, without light and without noise"`
	Errors   bool `key:"errors" default:"false" doc:"the standard error of each pass of lights and paths, as of independent samples; twice the memory"`
}

// Any reports whether anything is kept apart.
func (p Passes) Any() bool { return p.Lights || p.Paths || p.Surfaces }

// Camera is a camera or an irradiance plate.
type Camera struct {
	Kind          string     `key:"kind" oneof:"perspective|orthographic|plate" default:"perspective" doc:"perspective, orthographic, or a plate: a rectangle in the scene that records irradiance (W/m^2) over its face"`
	Target        geom.Vec   `key:"target" unit:"mm" default:"[0, 0, 8]" source:"our own choice: about the corneal limbus of a globe of 12 mm" doc:"point that the camera looks at (centre of a plate)"`
	Position      *geom.Vec  `key:"position" unit:"mm" only:"perspective|orthographic" doc:"position; instead of orbit"`
	Orbit         *Orbit     `key:"orbit" only:"perspective|orthographic" doc:"position by angles about target; instead of position"`
	Up            geom.Vec   `key:"up" default:"[0, 1, 0]" source:"our own choice" doc:"direction that is up in the picture"`
	FocalLength   float64    `key:"focal_length" unit:"mm" range:"(0,10000]" default:"100" source:"common practice, no published source: 85 to 135 mm for close-ups of eyes" only:"perspective" doc:"focal length, on the stated sensor"`
	SensorWidth   float64    `key:"sensor_width" unit:"mm" range:"(0,1000]" default:"36" source:"full frame of 36 mm x 24 mm, ISO 1007" only:"perspective" doc:"width of the sensor"`
	FOV           float64    `key:"fov" unit:"degrees" range:"(0,170]" default:"0" source:"neutral: changes nothing" only:"perspective" doc:"horizontal field of view; instead of focal_length"`
	Width         float64    `key:"width" unit:"mm" range:"(0,1e6]" default:"30" source:"our own choice" only:"orthographic|plate" doc:"width of the orthographic picture or of the plate; the height follows from the picture"`
	FNumber       float64    `key:"f_number" range:"[0,1000]" default:"0" source:"neutral: changes nothing" only:"perspective" doc:"aperture of the thin lens; 0 is a pinhole"`
	FocusDistance float64    `key:"focus_distance" unit:"mm" range:"[0,1e6]" default:"0" source:"neutral: changes nothing" only:"perspective" doc:"distance of the sharp plane; 0 is the distance of target"`
	FocusOn       string     `key:"focus_on" oneof:"distance|iris|cornea" default:"distance" only:"perspective" doc:"what is sharp: the plane at focus_distance, the iris of the first eye, or the front of its cornea"`
	Normal        *geom.Vec  `key:"normal" only:"plate" doc:"direction that the plate faces"`
	Shift         [2]float64 `key:"shift" range:"[-10,10]" default:"[0, 0]" source:"neutral: changes nothing" doc:"moves the picture by this share of its width and height (right, up)"`
}

// Placed reports whether the scene says where the camera is. Where it does not, Prepare puts it in front of what there is.
func (c *Camera) Placed() bool { return c.Kind == "plate" || c.Position != nil || c.Orbit != nil }

// Orbit places a camera about its target.
type Orbit struct {
	Azimuth   float64 `key:"azimuth" unit:"degrees" range:"[-360,360]" default:"0" source:"neutral: changes nothing" doc:"0 is straight before the eye, on +Z; positive goes toward +X"`
	Elevation float64 `key:"elevation" unit:"degrees" range:"[-89.9,89.9]" default:"0" source:"neutral: changes nothing" doc:"positive goes up"`
	Distance  float64 `key:"distance" unit:"mm" range:"(0,1e6]" default:"1000" source:"our own choice" doc:"distance from the point that it is turned to"`
}

// View turns radiance into a display picture.
type View struct {
	Exposure         float64    `key:"exposure" unit:"EV" range:"[-40,40]" default:"0" source:"neutral: changes nothing" doc:"stops added before the view transform"`
	ToneMapping      string     `key:"tone_mapping" oneof:"reinhard|neutral|filmic|none" default:"reinhard" doc:"published tone curve; none clips"`
	White            float64    `key:"white" range:"[0.1,1000]" default:"4" source:"our own choice; the curve's L_white, Reinhard et al. 2002, equation 4" doc:"reinhard: exposed luminance that becomes display white; less lets highlights burn out sooner and keeps more contrast below, as a camera of small latitude does"`
	Table            *ViewTable `key:"table" doc:"a .cube table in place of the transform"`
	Glare            *Glare     `key:"glare" doc:"what the lens spreads of each point, before the tone curve; pictures as seen alone have it, no linear file and no comparison"`
	Background       string     `key:"background" oneof:"environment|colour|gradient|transparent" default:"environment" doc:"what the camera sees where it sees no object"`
	BackgroundColour colour.RGB `key:"background_colour" range:"[0,1e6]" default:"[0.05, 0.05, 0.055]" source:"our own, by eye" doc:"background colour, linear, as seen in the picture at exposure 0 (colour and gradient)"`
	BackgroundEdge   float64    `key:"background_edge" range:"[0,1]" default:"0.35" source:"our own, by eye" doc:"gradient: brightness of the picture's corners as a share of its centre"`
}

// Glare is a halo about each point of the picture.
type Glare struct {
	Share  float64 `key:"share" range:"[0,1]" default:"0.08" source:"common practice, no published source" doc:"share of the light that goes into the halo"`
	Radius float64 `key:"radius" range:"[0.01,100]" default:"1.5" source:"common practice, no published source" doc:"core of the halo in thousandths of the picture's width; beyond it the halo falls with the third power of the distance (Moffat's profile of 1969)"`
}

// ViewTable is a .cube table that turns exposed light into the display's. What goes in and what comes out is stated:
// the file does not say.
type ViewTable struct {
	File   Path     `key:"file" default:"required" ends:".cube" doc:"table of one or three dimensions"`
	Input  string   `key:"input" oneof:"linear|srgb|log2" default:"required" doc:"what the table expects: linear light of Rec. 709, its sRGB signal (1 and above is 1), or stops over middle grey .18, from low at 0 to high at 1"`
	Low    *float64 `key:"low" unit:"EV" range:"[-40,40]" doc:"log2: stops over .18 that are 0"`
	High   *float64 `key:"high" unit:"EV" range:"[-40,40]" doc:"log2: stops over .18 that are 1"`
	Output string   `key:"output" oneof:"srgb|linear" default:"required" doc:"what comes out: the sRGB signal, or linear display light of Rec. 709"`
}

// Advanced holds the path tracer's settings.
type Advanced struct {
	MaxDepth     int     `key:"max_depth" range:"[1,65536]" default:"1024" source:"our own choice" doc:"longest path, in surface events; the energy cut off is reported"`
	Exit         string  `key:"exit" oneof:"lambert|exact" default:"lambert" doc:"how light enters and leaves scattering tissue: lambert (the model that colours are defined in) or exact (the walk's own directions)"`
	Manifold     bool    `key:"manifold" default:"true" doc:"connect lights to the iris through the cornea by the manifold solver; off leaves it to chance (same mean, more noise)"`
	Split        bool    `key:"split" default:"true" doc:"trace both the reflected and the refracted part at the first hit of an eye; off picks one"`
	Guided       bool    `key:"guided" default:"true" doc:"steer walks in tissue toward the surface that they came in by and toward the light; off: plain walks (same mean, more noise)"`
	HoldHair     bool    `key:"hold_hair" default:"false" doc:"trace hairs thinner than a pixel as wide as one and let the rest of the rays pass; off traces them as thin as they are, and a pixel's samples blend them (same cover; measured: no more noise, and faster)"`
	LightSamples bool    `key:"light_samples" default:"true" doc:"connect vertices to lights; off leaves all light to chance (same mean, more noise)"`
	MapMemory    float64 `key:"map_memory" unit:"GB" range:"[0,1e6]" default:"4" source:"our own choice" doc:"memory that pictures may take while they are prepared; more is an error before the work starts; 0 is no limit"`
}

// Effects leaves parts of light transport out on purpose.
type Effects struct {
	Refraction bool `key:"refraction" default:"true" doc:"bend light at the cornea"`
	Caustic    bool `key:"caustic" default:"true" doc:"focus light through the cornea; off lights the iris along straight lines"`
	Scattering bool `key:"scattering" default:"true" doc:"subsurface scattering; off makes tissue plain diffuse"`
	TearFilm   bool `key:"tear_film" default:"true" doc:"reflection of the tear film"`
	Shadow     bool `key:"shadow" default:"true" doc:"shadows of objects on the eye"`
}

// LightSetup is what holds for all lights together; a file of a light set-up brings it with its lights.
type LightSetup struct {
	About        string    `key:"about" default:"" doc:"one line that says what the lights are"`
	Shows        string    `key:"shows" default:"" doc:"one line that says what they show of an eye"`
	KeyDirection Direction `key:"key_direction" doc:"where the main light comes from"`
	Rotation     float64   `key:"rotation" unit:"degrees" range:"[-3600,3600]" default:"0" source:"neutral: changes nothing" doc:"turns all lights about +Y, right-handed"`
	EV           float64   `key:"ev" unit:"EV" range:"[-40,40]" default:"0" source:"neutral: changes nothing" doc:"stops on top of each light's own; the light set-ups in the program are balanced by it so that a grey card of 18 % at the eye, facing the key, reads 0.18"`
	Balance      string    `key:"balance" oneof:"none|key|brightest" default:"none" doc:"brings the lights to the level at which a grey card of 18 % in the eye's place reads 0.18 before tone mapping: facing key_direction, or facing where most light comes from; ev goes on top"`
}

// Direction is a direction by angles.
type Direction struct {
	Azimuth   float64 `key:"azimuth" unit:"degrees" range:"[-360,360]" default:"0" source:"neutral: changes nothing" doc:"0 is straight before the eye, on +Z; positive goes toward +X"`
	Elevation float64 `key:"elevation" unit:"degrees" range:"[-89.9,89.9]" default:"0" source:"neutral: changes nothing" doc:"positive goes up"`
}

// Light is one source of light.
type Light struct {
	Name          string      `key:"name" default:"required" doc:"its own name"`
	Kind          string      `key:"kind" oneof:"environment|constant|rectangle|disc|sphere|distant|flag" default:"required" doc:"what it is: environment (a picture of all directions, infinitely far), constant (the same light from all directions), rectangle, disc, sphere (surfaces in the scene that shine), distant (a disc infinitely far, such as the sun), or flag (an opaque rectangle that shines on nothing: it keeps light away and is mirrored)"`
	On            bool        `key:"on" default:"true" doc:"off leaves it out"`
	File          Path        `key:"file" only:"environment" default:"" ends:".hdr|.exr|.pfm" doc:"latitude-longitude picture: .hdr, .exr or .pfm, or a place that the program makes, such as builtin:cottage-room; builtin:cottage-room-unlit is it without its window shining"`
	Rotation      float64     `key:"rotation" unit:"degrees" range:"[-3600,3600]" default:"0" source:"neutral: changes nothing" only:"environment" doc:"turns the environment about +Y, right-handed"`
	HotSpots      bool        `key:"hot_spots" default:"true" only:"environment" doc:"small bright parts (sun, lamps) are sampled as lights of their own; the same picture with less noise"`
	EV            float64     `key:"ev" unit:"EV" range:"[-40,40]" default:"0" source:"neutral: changes nothing" doc:"stops on top of its own strength"`
	Tint          colour.RGB  `key:"tint" range:"[0,1e6]" default:"[1, 1, 1]" source:"neutral: changes nothing" doc:"multiplies its colour"`
	Radiance      *colour.RGB `key:"radiance" unit:"W/(m^2 sr)" range:"[0,1e12]" only:"constant|rectangle|disc|sphere|distant" doc:"radiance; or give power"`
	Power         *float64    `key:"power" unit:"W" range:"[0,1e12]" only:"rectangle|disc|sphere" doc:"radiant flux of all that shines (a window: its panes), split by tint; instead of radiance"`
	Irradiance    *colour.RGB `key:"irradiance" unit:"W/m^2" range:"[0,1e12]" only:"distant" doc:"irradiance on a plane that faces it; instead of radiance"`
	Position      *geom.Vec   `key:"position" unit:"mm" only:"rectangle|disc|sphere|flag" doc:"centre; instead of orbit"`
	Orbit         *Orbit      `key:"orbit" only:"rectangle|disc|sphere|distant|flag" doc:"centre or direction by angles about target"`
	Target        geom.Vec    `key:"target" unit:"mm" default:"[0, 0, 8]" source:"our own choice: about the corneal limbus of a globe of 12 mm" only:"rectangle|disc|distant|sphere|flag" doc:"point that it faces"`
	Width         float64     `key:"width" unit:"mm" range:"(0,1e6]" default:"400" source:"our own choice" only:"rectangle|flag" doc:"width"`
	Height        float64     `key:"height" unit:"mm" range:"(0,1e6]" default:"400" source:"our own choice" only:"rectangle|flag" doc:"height"`
	Radius        float64     `key:"radius" unit:"mm" range:"(0,1e6]" default:"100" source:"our own choice" only:"disc|sphere" doc:"radius"`
	Angle         float64     `key:"angle" unit:"degrees" range:"(0,179]" default:"0.53" source:"mean angular diameter of the sun seen from the earth, Cox (ed.), Astrophysical Quantities, 4th ed. 2000; from memory" only:"distant" doc:"angular diameter (the sun: 0.53)"`
	Roll          float64     `key:"roll" unit:"degrees" range:"[-360,360]" default:"0" source:"neutral: changes nothing" only:"rectangle|flag" doc:"turns the rectangle about its own normal"`
	Panes         [2]int      `key:"panes" range:"[1,64]" default:"[1, 1]" source:"neutral: changes nothing" only:"rectangle" doc:"panes across and down: a window with bars between them"`
	Bar           float64     `key:"bar" unit:"mm" range:"[0,1e5]" default:"0" source:"neutral: changes nothing" only:"rectangle" doc:"width of the bars between panes"`
	Profile       *Profile    `key:"profile" only:"rectangle|disc" doc:"how its radiance differs over its face; the mean over what shines stays what radiance or power say"`
	Colour        colour.RGB  `key:"colour" range:"[0,1]" default:"[0.03, 0.03, 0.03]" source:"black cloth: common practice, no published source" only:"flag" doc:"reflectance of both its faces"`
	CameraVisible bool        `key:"camera_visible" default:"true" doc:"seen directly by the camera (reflections always see it)"`
}

// Profile is what is seen on the face of a light: a hot core and fall-off, or a sky behind a window. As written it is a soft box.
type Profile struct {
	Core    float64 `key:"core" range:"[0,100]" default:"1.25" source:"common practice, no published source" doc:"radiance in the middle, before the rest and relative to edge"`
	Edge    float64 `key:"edge" range:"[0,100]" default:"0.8" source:"common practice, no published source" doc:"radiance in the corners, of a disc at its rim"`
	Soft    float64 `key:"soft" range:"[0,1]" default:"0.04" source:"our own, by eye" doc:"share of half the shorter side over which it fades in from its outer edge"`
	Noise   float64 `key:"noise" range:"[0,0.5]" default:"0.04" source:"common practice, no published source" doc:"size of slow waves over it, as a share"`
	Sky     float64 `key:"sky" range:"[0,100]" default:"1" source:"neutral: changes nothing" doc:"radiance at the horizon, or at the lower edge without one, over that at the upper edge; 0.6 is a clear sky through a window"`
	Horizon float64 `key:"horizon" range:"[0,0.95]" default:"0" source:"neutral: changes nothing" doc:"share of the height that lies below the horizon, an uneven line of trees"`
	Ground  float64 `key:"ground" range:"[0,100]" default:"0.1" source:"trees before a sky: common practice, no published source" doc:"radiance below the horizon over that at the upper edge"`
	Curtain float64 `key:"curtain" range:"[0,0.95]" default:"0" source:"neutral: changes nothing" doc:"share of half the width that a curtain takes at either side"`
	Cloth   float64 `key:"cloth" range:"[0,1]" default:"0.3" source:"common practice, no published source" doc:"radiance of the curtains over that of what they cover"`
	Seed    int     `key:"seed" range:"[0,2147483647]" default:"1" source:"our own choice" doc:"seed of its waves, trees and curtains"`
}

// Object is something to see.
type Object struct {
	Name        string       `key:"name" default:"required" doc:"its own name"`
	Shape       string       `key:"shape" oneof:"eye|sphere|rectangle|disc|box|slab|plinth|mesh" default:"required" doc:"what it is; a slab is infinite between two planes across its own z axis; a plinth is what a bare eye lies on"`
	On          bool         `key:"on" default:"true" doc:"off leaves it out"`
	Transform   Transform    `key:"transform" doc:"where it is"`
	Size        geom.Vec     `key:"size" unit:"mm" range:"(0,1e6]" default:"[10, 10, 10]" source:"our own choice" only:"rectangle|box" doc:"edge lengths; a rectangle lies in its x-y plane facing +z and ignores the third"`
	Radius      float64      `key:"radius" unit:"mm" range:"(0,1e6]" default:"10" source:"our own choice" only:"sphere|disc|plinth" doc:"radius; a disc lies in its x-y plane facing +z, a plinth has the middle of its top at its place, facing +y"`
	Thickness   float64      `key:"thickness" unit:"mm" range:"(0,1e9]" default:"1" source:"our own choice" only:"slab|plinth" doc:"thickness of a slab whose front plane is z = 0 and which reaches to z = -thickness; of a plinth, downward"`
	File        Path         `key:"file" default:"" only:"mesh" ends:".glb|.gltf|.obj|.ply|.stl" doc:"a file of meshes: .glb, .gltf, .obj, .ply or .stl"`
	Unit        string       `key:"unit" default:"" only:"mesh" oneof:"mm|cm|m|inch" doc:"unit of a file whose format states none (.obj, .ply, .stl)"`
	Node        string       `key:"node" default:"" only:"mesh" doc:"use only this node of the file"`
	Morph       []Morph      `key:"morph" only:"mesh" doc:"weights of the file's morph targets; others keep the file's own"`
	Subdivide   int          `key:"subdivide" range:"[0,4]" default:"0" source:"neutral: changes nothing" only:"mesh" doc:"levels of smooth subdivision, before a height map moves it"`
	Close       bool         `key:"close" default:"false" only:"mesh" doc:"put a cap over each hole: tissue that scatters encloses a volume, and a face is open at eyes, mouth and neck; about an eye the cap lies within the globe, where nothing shows it"`
	Plinth      Plinth       `key:"plinth" only:"plinth" doc:"its edges, hollow and surface"`
	Material    Material     `key:"material" only:"sphere|rectangle|disc|box|slab|plinth|mesh" doc:"how it answers light"`
	Eye         *Eye         `inline:"" only:"eye"`
	Gaze        *Gaze        `key:"gaze" only:"eye" doc:"where it looks; without it a single eye's optical axis stands along +Z of its place, and a pair looks straight ahead"`
	Pair        float64      `key:"pair" unit:"mm" range:"[0,90]" default:"0" source:"neutral: changes nothing" only:"eye" doc:"makes it a pair this far apart about its place (a grown person: 63), the right eye at -X; the left one is mirrored and has veins and an iris of its own; 0 is one eye"`
	Lids        *Lids        `key:"lids" only:"eye" doc:"lids about it, with inner corner, tears and lashes"`
	When        string       `key:"when" oneof:"always|bare|lidded" default:"always" doc:"leaves it out unless the eyes are bare, or unless they have lids: for cards that stand in for lids"`
	OpacityMask *OpacityMask `key:"opacity_mask" only:"mesh" doc:"mask of what is there: lash cards, lid edges"`
	Visibility  Visibility   `key:"visibility" doc:"which rays meet it"`
}

// Plinth is a turned slab of stone that a bare eye lies on. Its top faces +y; radius and thickness are its object's.
type Plinth struct {
	Bevel  float64 `key:"bevel" unit:"mm" range:"[0,1000]" default:"0.3" source:"our own, by eye" doc:"radius of its rounded edges, and of the hollow's lip"`
	Cup    float64 `key:"cup" unit:"mm" range:"[0,1e5]" default:"0" source:"neutral: changes nothing" doc:"radius of the sphere that a hollow in the middle of its top is cut by; 0 is no hollow"`
	Depth  float64 `key:"depth" unit:"mm" range:"[0,1e4]" default:"1" source:"our own choice" doc:"depth of the hollow's middle below the top"`
	Relief float64 `key:"relief" unit:"mm" range:"[0,1]" default:"0" source:"neutral: changes nothing" doc:"root mean square height of the waves of cut stone outside the hollow"`
	Wave   float64 `key:"wave" unit:"mm" range:"[1,1000]" default:"6" source:"our own, by eye" doc:"length of the longest of these waves"`
	Seed   int     `key:"seed" range:"[0,2147483647]" default:"1" source:"our own choice" doc:"seed of the waves"`
}

// Measures are those of a plinth.
func (o *Object) Measures() plinth.Params {
	p := &o.Plinth
	return plinth.Params{Radius: o.Radius, Thickness: o.Thickness, Bevel: p.Bevel, Cup: p.Cup, Depth: p.Depth, Relief: p.Relief, Wave: p.Wave, Seed: uint64(p.Seed)}
}

// Gaze is where an eye looks. It turns about the centre of its globe without rolling (Listing's law).
type Gaze struct {
	Target    *geom.Vec `key:"target" unit:"mm" doc:"point that it looks at; instead of azimuth and elevation"`
	Azimuth   float64   `key:"azimuth" unit:"degrees" range:"[-60,60]" default:"0" source:"neutral: changes nothing" doc:"of the line of sight in the eye's place: 0 is along +Z, positive goes toward +X"`
	Elevation float64   `key:"elevation" unit:"degrees" range:"[-60,60]" default:"0" source:"neutral: changes nothing" doc:"positive looks up"`
	Distance  float64   `key:"distance" unit:"mm" range:"[0,1e6]" default:"0" source:"neutral: changes nothing" doc:"how far away the point is that it looks at along azimuth and elevation: a pair's lines of sight meet there; 0 is without end"`
	Kappa     float64   `key:"kappa" unit:"degrees" range:"[-10,15]" default:"5" source:"angle alpha of Le Grand and El Hage, Physiological Optics (1980); from memory" doc:"how far the optical axis points outward, to the temple, of the line of sight"`
}

// Lids are a pair of lids in the place of their eye: they don't turn with it, but their margins follow its gaze up and down.
type Lids struct {
	On        bool    `key:"on" default:"true" doc:"off leaves them out"`
	Outer     float64 `key:"outer" unit:"mm" range:"[0,16]" default:"0" source:"0.93 of the globe's radius in grown people, 27.1 mm in all with the inner corner: Read et al. 2006, van den Bosch et al. 1999; from memory" doc:"how far the outer corner lies from the middle of the eye, seen from the front: at most 0.97 of the globe's radius; 0 is by age and globe"`
	Inner     float64 `key:"inner" unit:"mm" range:"[0,24]" default:"0" source:"1.3 of the globe's radius in grown people: 15 to 17 mm, common practice, no published source" doc:"how far the inner corner lies from the middle of the eye, seen from the front; 0 is by age and globe"`
	Height    float64 `key:"height" unit:"mm" range:"[0,16]" default:"0" source:"9.7 mm in grown people (Read et al. 2006), 8 in children; from memory" doc:"height of the opening over the middle of the eye, looking straight ahead: 2 and more; 0 is by age"`
	Cover     float64 `key:"cover" unit:"mm" range:"[-3,6]" default:"1.5" source:"Wolff's Anatomy of the Eye and Orbit, 8th ed., chapter 2; from memory" doc:"how far the upper margin covers the iris, looking straight ahead"`
	Tilt      float64 `key:"tilt" unit:"mm" range:"[-4,6]" default:"1.5" source:"Wolff's Anatomy of the Eye and Orbit, 8th ed., chapter 2; from memory" doc:"how far the outer corner lies above the inner one"`
	UpperPeak float64 `key:"upper_peak" unit:"mm" range:"[-2,2]" default:"0.8" source:"nasal in textbooks, 1.6 mm temporal in Shin 2025; from memory" doc:"how far toward the nose from the middle of the eye the upper margin is highest"`
	LowerPeak float64 `key:"lower_peak" unit:"mm" range:"[-2,2]" default:"-1.5" source:"temporal in textbooks; from memory" doc:"how far toward the nose from the middle of the eye the lower margin is lowest"`
	Blink     float64 `key:"blink" range:"[0,1]" default:"0" source:"neutral: changes nothing" doc:"0 is open, 1 closed"`
	Margin    float64 `key:"margin" unit:"mm" range:"[1,3.5]" default:"2" source:"Wolff's Anatomy of the Eye and Orbit, 8th ed., chapter 2; from memory" doc:"thickness of the lids' edge"`
	Gap       float64 `key:"gap" unit:"mm" range:"[0.02,0.5]" default:"0.03" source:"common practice, no published source" doc:"between lid and globe"`
	Crease    float64 `key:"crease" unit:"mm" range:"[0,10]" default:"4" source:"our own, by eye; Cartwright et al. 1994 measured 6.4 mm; from memory" doc:"height of the upper lid's crease above its margin; 0 is none"`
	Fold      float64 `key:"fold" unit:"mm" range:"[0,3]" default:"1.1" source:"our own, by eye" doc:"how far the skin above the crease stands out over it"`
	Age       float64 `key:"age" range:"[0,1]" default:"0.4" source:"sizes: Read et al. 2006, van den Bosch et al. 1999, from memory; lines and bags our own, by eye" doc:"0 is a child of four years, 0.4 a grown person of thirty, 1 one of eighty: depth of lines and bags, brow, and what of the opening is left to it"`
	Scale     float64 `key:"scale" range:"[0.2,5]" default:"1" source:"neutral: changes nothing" doc:"multiplies all lengths of the lids, for creatures: 12 mm of globe go with 1"`
	Seed      int     `key:"seed" range:"[0,2147483647]" default:"1" source:"our own choice" doc:"seed of skin and hair"`
	FacetSize float64 `key:"facet_size" unit:"mm" range:"[0.05,1]" default:"0.12" source:"our own choice" doc:"length of the skin's facets near the margin"`
	Skin      Skin    `key:"skin" doc:"how skin and inner corner answer light"`
	Lashes    Lashes  `key:"lashes" doc:"hairs along the margins"`
	Brow      Brow    `key:"brow" doc:"the hair above"`
	Down      Down    `key:"down" doc:"fine hair of the lids and about them; a creature's coat or bristles"`
	Asymmetry float64 `key:"asymmetry" range:"[0,3]" default:"1" source:"common practice, no published source" doc:"how far left and right of a pair differ: 1 is up to 0.5 mm in the opening's height and tilt, 0.7 in the crease's height and 1.4 in the brow's; 0 leaves what their seeds make"`
	TearLine  float64 `key:"tear_line" unit:"mm" range:"[0,0.8]" default:"0.24" source:"0.16 to 0.35 mm, Doughty et al. 2002; from memory" doc:"height of the meniscus of tears along the lower margin: less above, more toward the nose; 0 is none"`
}

// Skin is how lids answer light.
type Skin struct {
	Colour        colour.RGB `key:"colour" range:"[0.01,0.9]" default:"[0.45, 0.295, 0.225]" source:"our own, by eye" doc:"mean reflectance, which says how much blood and melanin skin holds; margins, creases and corners differ from it"`
	Melanin       float64    `key:"melanin" range:"[0,8]" default:"1" source:"neutral: changes nothing" doc:"multiplies the share of melanin that the colour stands for: above 1 is tanned or dark"`
	Blood         float64    `key:"blood" range:"[0,8]" default:"1" source:"neutral: changes nothing" doc:"multiplies the share of blood that the colour stands for: above 1 is flushed, below 1 pale"`
	Freckles      float64    `key:"freckles" range:"[0,1]" default:"0.06" source:"our own, by eye" doc:"share of places, some 2.4 mm apart, that have a freckle"`
	Lines         float64    `key:"lines" range:"[0,2]" default:"1" source:"common practice, no published source: 10 to 35 um deep" doc:"depth of the net of fine lines; 0 is none"`
	Pores         float64    `key:"pores" range:"[0,2]" default:"1" source:"common practice, no published source: every 0.4 to 0.6 mm of the cheek" doc:"number and depth of pores; 0 is none"`
	Oil           float64    `key:"oil" range:"[0,1.5]" default:"1" source:"common practice, no published source" doc:"multiplies what oil lets skin mirror; 0 is dull"`
	ScatterRadius colour.RGB `key:"scatter_radius" unit:"mm" range:"[0.001,100]" default:"[0.28, 0.152, 0.112]" source:"our own, by Monte Carlo walks in skin of Jacques, Phys. Med. Biol. 58 (2013), R37, times 0.8 for thin lids" doc:"radius within which half of the re-emitted light leaves, per channel"`
	Index         float64    `key:"index" range:"[1,4]" default:"1.4" source:"1.4 of skin, Jacques, Phys. Med. Biol. 58 (2013), R37; from memory" doc:"index of its coat; 1 is none"`
	Roughness     float64    `key:"roughness" range:"[0,1]" default:"0.52" source:"two lobes of 0.3 and 0.5, common practice, no published source" doc:"roughness of the sharper of two lobes of shine, with lines and pores in it; GGX alpha is its square, the other lobe's 1.85 times that"`
	Scattering    bool       `key:"scattering" default:"true" doc:"off makes skin plain diffuse: faster, harder"`
}

// Lashes are hairs along the margins.
type Lashes struct {
	UpperLength float64 `key:"upper_length" unit:"mm" range:"[0,16]" default:"9" source:"8 to 12 mm, a third of the opening's width (Amador et al. 2015); from memory" doc:"length of the longest of the upper lid; 0 is none"`
	LowerLength float64 `key:"lower_length" unit:"mm" range:"[0,12]" default:"6" source:"common practice, no published source: 6 to 8 mm" doc:"length of the longest of the lower lid; 0 is none"`
	Density     float64 `key:"density" range:"[0,3]" default:"1" source:"90 to 160 upper and 50 to 80 lower ones (Na et al. 2006); from memory" doc:"1 is 4.8 roots a mm on the upper lid and 2.8 on the lower one"`
	Width       float64 `key:"width" unit:"mm" range:"[0.02,0.3]" default:"0.09" source:"common practice, no published source: 0.06 to 0.1 mm" doc:"diameter of the upper ones at the root; lower ones are finer"`
	Curl        float64 `key:"curl" unit:"degrees" range:"[0,84]" default:"70" source:"common practice, no published source: 50 to 80, straight ones 20 to 40" doc:"how far an upper one turns upward from root to tip; lower ones turn down by 0.62 of it"`
	Eumelanin   float64 `key:"eumelanin" range:"[0,30]" default:"6" source:"common practice, no published source: 4 to 8 is dark, 1.3 brown, 0.3 fair" doc:"brown-black pigment"`
	Pheomelanin float64 `key:"pheomelanin" range:"[0,30]" default:"0" source:"neutral: changes nothing" doc:"red pigment"`
}

// OpacityMask takes away the parts of a mesh where a mask is low.
type OpacityMask struct {
	File      Path    `key:"file" default:"required" ends:".png|.jpg|.jpeg|.tif|.tiff|.hdr|.exr|.pfm" doc:"picture, never decoded as colour"`
	Channel   string  `key:"channel" default:"" doc:"use this channel alone: R, G, B, A, Y; without it the first"`
	Threshold float64 `key:"threshold" range:"[0,1]" default:"0.5" source:"common practice, no published source" doc:"the mesh is there where the mask is at least this"`
	Blend     bool    `key:"blend" default:"false" doc:"the mask is the share of light that is stopped, for soft edges, in place of a threshold"`
	Tiling    string  `key:"tiling" oneof:"repeat|clamp|mirror" default:"repeat" doc:"what the picture shows outside 0 to 1"`
}

// Visibility says which rays meet an object.
type Visibility struct {
	Camera     bool `key:"camera" default:"true" doc:"rays from the camera"`
	Shadow     bool `key:"shadow" default:"true" doc:"rays toward lights, and scattered light"`
	Reflection bool `key:"reflection" default:"true" doc:"reflections in the eye"`
}

// Transform is a similarity: first scale, then rotation about x, y and z in this order, then the move.
type Transform struct {
	Translate geom.Vec `key:"translate" unit:"mm" default:"[0, 0, 0]" source:"neutral: changes nothing" doc:"where its origin goes"`
	Rotate    geom.Vec `key:"rotate" unit:"degrees" range:"[-3600,3600]" default:"[0, 0, 0]" source:"neutral: changes nothing" doc:"turns about x, then y, then z, right-handed"`
	Scale     float64  `key:"scale" range:"(0,1e6]" default:"1" source:"neutral: changes nothing" doc:"scale of its shape; scattering lengths stay in mm"`
}

// Material is how a plain object answers light.
type Material struct {
	Kind          string      `key:"kind" oneof:"diffuse|conductor|dielectric|emissive|matched|tissue|tears" default:"diffuse" doc:"diffuse, metal, glass-like interface, light source, matched: no interface at all, only what is inside, tissue: light scatters below a thin coat, as in a lid, or tears: a thin strip of them that mirrors, and what it does not mirror goes straight on"`
	Colour        MapSpec     `key:"colour" range:"[0,1]" default:"[0.5, 0.5, 0.5]" source:"our own choice" only:"diffuse|tissue" doc:"diffuse and tissue: reflectance; a colour or a map"`
	Eta           colour.RGB  `key:"eta" range:"[0.01,20]" default:"[0.18, 0.42, 1.37]" source:"gold at 620, 550 and 450 nm, Johnson and Christy, Phys. Rev. B 6 (1972), 4370; from memory" only:"conductor" doc:"conductor: real part of the index (default: gold-like, from memory)"`
	K             colour.RGB  `key:"k" range:"[0,20]" default:"[3.42, 2.35, 1.77]" source:"gold at 620, 550 and 450 nm, Johnson and Christy, Phys. Rev. B 6 (1972), 4370; from memory" only:"conductor" doc:"conductor: imaginary part of the index"`
	Mirror        bool        `key:"mirror" default:"false" only:"conductor" doc:"conductor: reflect all light"`
	Index         float64     `key:"index" range:"[1,4]" default:"1.5" source:"crown glass, rounded; from memory" only:"dielectric|tissue|tears" doc:"dielectric and tears (1.336): index of refraction; tissue: of its coat, 1 is none"`
	Roughness     float64     `key:"roughness" range:"[0,1]" default:"0" source:"neutral: changes nothing" only:"conductor|dielectric|tissue" doc:"conductor, dielectric and the coat of tissue: roughness; GGX alpha is its square; 0 is smooth"`
	ScatterRadius colour.RGB  `key:"scatter_radius" unit:"mm" range:"[0.001,100]" default:"[0.9, 0.45, 0.3]" source:"our own, by eye" only:"tissue" doc:"tissue: radius within which half of the re-emitted light leaves, per channel"`
	Scattering    bool        `key:"scattering" default:"true" only:"tissue" doc:"tissue: off makes it plain diffuse under its coat"`
	Radiance      *colour.RGB `key:"radiance" unit:"W/(m^2 sr)" range:"[0,1e12]" only:"emissive" doc:"emissive: radiance of the front (sphere, rectangle, disc)"`
	FromFile      bool        `key:"from_file" default:"false" doc:"meshes: what the file's own material says of colour, normals, roughness (where that is 0 here) and transparency, where no key here says otherwise"`
	Normal        *NormalMap  `key:"normal" doc:"meshes: normal map"`
	Height        *HeightMap  `key:"height" doc:"meshes: displacement of its vertices, in mm whatever its scale; subdivide makes more of them"`
	Inside        *Medium     `key:"inside" only:"dielectric|matched" doc:"scattering medium of a closed object"`
}

// Medium is a homogeneous scattering volume, by physical coefficients or by colour and mean free path.
type Medium struct {
	SigmaA       *colour.RGB `key:"sigma_a" unit:"1/mm" range:"[0,1e6]" doc:"absorption coefficient"`
	SigmaS       *colour.RGB `key:"sigma_s" unit:"1/mm" range:"[0,1e6]" doc:"scattering coefficient"`
	G            float64     `key:"g" range:"(-1,1)" default:"0" source:"neutral: changes nothing" doc:"mean cosine of scattering (Henyey-Greenstein)"`
	Colour       *colour.RGB `key:"colour" range:"[0,0.98]" doc:"diffuse reflectance of a deep object of it; instead of sigma_a and sigma_s"`
	MeanFreePath *colour.RGB `key:"mean_free_path" unit:"mm" range:"(0,1e6]" doc:"mean free path, with colour"`
}

// MapSpec is a value over a surface: a number, a colour, or a file with options.
//
// In a scene file it is a number, a list of three, or a block with these keys.
type MapSpec struct {
	Value   colour.RGB `key:"value" default:"[0, 0, 0]" source:"neutral: changes nothing" doc:"constant value"`
	File    Path       `key:"file" default:"" ends:".png|.jpg|.jpeg|.tif|.tiff|.hdr|.exr|.pfm" doc:"picture: .png, .jpg, .tif, .hdr, .exr or .pfm; {tile} in the name stands for the numbers 1001 and up of a set of tiles"`
	Space   string     `key:"space" oneof:"auto|srgb|p3|linear|linear-rec2020|linear-ap1" default:"auto" doc:"how its numbers are coded: srgb (8 and 16 bit pictures; Rec. 709 primaries), p3 (the same with P3 primaries and white D65), linear (Rec. 709, whatever the file states), linear in Rec. 2020 or in AP1; auto: colour maps in 8 or 16 bit are srgb, all else is linear, with the primaries that an OpenEXR file states; tags in a PNG never count"`
	Channel string     `key:"channel" default:"" doc:"use this channel alone: R, G, B, A, Y, or any of an OpenEXR file"`
	Tiling  string     `key:"tiling" oneof:"repeat|clamp|mirror" default:"repeat" doc:"what the picture shows outside 0 to 1 (not for tiles)"`
	Gain    float64    `key:"gain" range:"[-1e6,1e6]" default:"1" source:"neutral: changes nothing" doc:"multiplies the values"`
	Offset  float64    `key:"offset" range:"[-1e6,1e6]" default:"0" source:"neutral: changes nothing" doc:"added after gain"`
	Shell   string     `key:"shell" oneof:"inner|outer" default:"inner" doc:"colours of an eye: which shell's texture coordinates the picture is painted on; what lies on the outer shell colours the tissue behind it, along lines through the globe's centre"`
	UvSet   *int       `key:"uv_set" range:"[0,3]" doc:"colours of an eye: which set of texture coordinates of a glTF file the picture is painted on, n of TEXCOORD_n; without it the one that the file's own material uses"`
	Painted string     `key:"painted" oneof:"bare|seen" default:"bare" doc:"iris.colour: bare is the colour of the tissue itself; seen the colour that shows through the cornea from the front under an even sky, without what the tear film mirrors"`
	Given   bool       // whether the key was in the file
}

// NormalMap is a tangent-space normal map: 0 to 1 stand for -1 to 1, red along u.
type NormalMap struct {
	File     Path    `key:"file" default:"required" ends:".png|.jpg|.jpeg|.tif|.tiff|.hdr|.exr|.pfm" doc:"picture, or a set of tiles with {tile} in its name; never decoded as colour"`
	Green    string  `key:"green" oneof:"up|down" default:"up" doc:"where a positive green points in the picture"`
	Strength float64 `key:"strength" range:"[0,10]" default:"1" source:"neutral: changes nothing" doc:"multiplies its slopes"`
	Tiling   string  `key:"tiling" oneof:"repeat|clamp|mirror" default:"repeat" doc:"what the picture shows outside 0 to 1 (not for tiles)"`
	UvSet    *int    `key:"uv_set" range:"[0,3]" doc:"which set of texture coordinates of a glTF file its shell has, n of TEXCOORD_n; all normal and height maps of a shell share it; without it the one that the file's own material uses"`
}

// HeightMap moves a surface along its normal by scale (value - zero_level).
type HeightMap struct {
	File      Path    `key:"file" default:"required" ends:".png|.jpg|.jpeg|.tif|.tiff|.hdr|.exr|.pfm" doc:"picture, or a set of tiles with {tile} in its name; never decoded as colour"`
	Channel   string  `key:"channel" default:"" doc:"use this channel alone: R, G, B, A, Y, or any of an OpenEXR file; without it the first"`
	ZeroLevel float64 `key:"zero_level" range:"[-1e6,1e6]" default:"0.5" source:"common practice, no published source" doc:"value that is no displacement"`
	Scale     float64 `key:"scale" unit:"mm" range:"[-100,100]" default:"required" doc:"displacement of a value one above zero_level"`
	Tiling    string  `key:"tiling" oneof:"repeat|clamp|mirror" default:"repeat" doc:"what the picture shows outside 0 to 1 (not for tiles)"`
	UvSet     *int    `key:"uv_set" range:"[0,3]" doc:"which set of texture coordinates of a glTF file its shell has, n of TEXCOORD_n; all normal and height maps of a shell share it; without it the one that the file's own material uses"`
}

// Eye is the two-shell eye. Shells come from an asset or are grown from the numbers here.
//
// Its own frame: origin in the centre of the globe, +Z out of the cornea along the optical axis, +Y up.
type Eye struct {
	Asset     *Asset      `key:"asset" doc:"take both shells from a file; without it they are built from the numbers below"`
	Globe     Globe       `key:"globe" doc:"the ball"`
	Cornea    Cornea      `key:"cornea" doc:"outer shell over the iris, and the tear film over all"`
	Limbus    Limbus      `key:"limbus" doc:"where cornea and sclera blend"`
	Iris      Iris        `key:"iris" doc:"inner shell under the cornea"`
	Sclera    Sclera      `key:"sclera" doc:"inner shell under the tear film"`
	Paint     []eye.Layer `key:"paint" acts:"built|borrowed" doc:"what is painted on the built eye, in order; a list is the whole of it; a block changes entries of the program's own list by their names and adds others after them"`
	Side      string      `key:"side" oneof:"right|left" default:"right" doc:"which eye it is: the nose of a right one is at +X; a left one has its pupil's offset mirrored"`
	Seed      int         `key:"seed" acts:"built|borrowed" range:"[0,2147483647]" default:"1" source:"our own choice" doc:"seed of the built eye's pattern"`
	MapSize   int         `key:"map_size" unit:"px" range:"[64,8192]" default:"2048" source:"common practice, no published source" doc:"size of the built eye's maps, and of those that look up colour below the surface of any eye"`
	IrisShare float64     `key:"iris_share" acts:"built" range:"[0.3,0.8]" default:"0.5" source:"our own choice" doc:"how much of the built map's radius the iris gets; the rest falls off smoothly toward the back"`
}

// Asset names the shells in a file.
type Asset struct {
	File       Path       `key:"file" default:"required" ends:".glb|.gltf|.obj|.ply|.stl" doc:"a file with both shells: .glb, .gltf, .obj, .ply or .stl"`
	Unit       string     `key:"unit" default:"" oneof:"mm|cm|m|inch" doc:"unit of a file whose format states none (.obj, .ply, .stl)"`
	Outer      string     `key:"outer" default:"" doc:"name of the node that is the outer shell; NAME/2 is its second largest island"`
	Inner      string     `key:"inner" default:"" doc:"name of the node that is the inner shell"`
	Morph      []Morph    `key:"morph" doc:"weights of the file's morph targets, such as the size of the pupil; others keep the file's own"`
	Factor     float64    `key:"factor" range:"(0,1e9]" default:"1" source:"neutral: changes nothing" doc:"multiplies the file's lengths, after its unit (of glTF: metres), on their way to mm"`
	Axis       geom.Vec   `key:"axis" default:"[0, 0, 1]" source:"glTF 2.0, section 3.4: +Z is the front" doc:"direction of the optical axis in the file"`
	Subdivide  *int       `key:"subdivide" range:"[0,5]" doc:"levels of smooth subdivision of both shells; without it as many as facet_error asks for"`
	FacetError float64    `key:"facet_error" unit:"mm" range:"[1e-4,1]" default:"0.01" source:"our own choice" doc:"how far facets may lie from the smooth surface: coarser shells are subdivided"`
	Borrow     bool       `key:"borrow" default:"false" doc:"take what the file lacks from the built-in eye: a shell that is not named, colours where there is no picture"`
	Relief     float64    `key:"relief" unit:"mm" range:"[0,0.3]" default:"0" source:"neutral: changes nothing" doc:"with borrow: lifts the iris of the file's inner shell by the built-in iris' relief, so high between ridges and crypts, for an iris that is flat"`
	CloseGap   bool       `key:"close_gap" default:"true" doc:"lay the inner shell close beneath the outer one outside the limbus, as tissue under a tear film"`
	MapsShift  [2]float64 `key:"maps_shift" unit:"mm" range:"[-5,5]" default:"[0, 0]" source:"neutral: changes nothing" doc:"moves the pictures on the inner shell right and up, seen from the front: what inspect finds that the painted limbus or pupil is off, the other way"`
	MapsTurn   float64    `key:"maps_turn" unit:"degrees" range:"[-180,180]" default:"0" source:"neutral: changes nothing" doc:"turns them about the axis, anticlockwise seen from the front"`
	MapsScale  float64    `key:"maps_scale" range:"[0.5,2]" default:"1" source:"neutral: changes nothing" doc:"scales them about the axis, before they are moved"`
}

// Morph sets one morph target of a file of meshes.
type Morph struct {
	Target string  `key:"target" default:"required" doc:"name of the morph target in the file, or its number from 0"`
	Weight float64 `key:"weight" range:"[-10,10]" default:"1" source:"our own choice" doc:"0 is the shape at rest, 1 the target"`
}

// Globe is the ball.
type Globe struct {
	Radius     float64 `key:"radius" unit:"mm" range:"[2,60]" built:"[5,30]" default:"12" source:"24.2 mm across in 250 adults: Bekerman, Gottlieb and Vaiman, J. Ophthalmol. 2014:503645" doc:"radius of the scleral sphere"`
	FacetError float64 `key:"facet_error" acts:"built" unit:"mm" range:"[0.0005,0.018]" default:"0.00128" source:"our own choice: a sixth of a pixel where 30 mm fill 4096 px" doc:"how far the built shells' facets may lie inside a corneal outline"`
}

// Cornea is the outer shell's optics and shape.
type Cornea struct {
	Radius           float64    `key:"radius" acts:"built" unit:"mm" range:"[3.5,16]" default:"7.8" source:"Le Grand and El Hage, Physiological Optics (1980), theoretical eye" doc:"apical radius of curvature"`
	Asphericity      float64    `key:"asphericity" acts:"built" range:"[-0.9,0.5]" default:"-0.26" source:"Navarro, Santamaria and Bescos, JOSA A 2 (1985), 1273" doc:"conic constant Q"`
	Index            float64    `key:"index" range:"[1,2.5]" default:"1.336" source:"aqueous humour of Gullstrand in Helmholtz, Handbuch der Physiologischen Optik, 3rd ed. 1909: one surface then gives the entrance pupil of the two of a cornea within 0.2 %" doc:"index of refraction for bending and for reflection"`
	ReflectionIndex  float64    `key:"reflection_index" range:"[0,2.5]" default:"0" source:"neutral: changes nothing" doc:"index for the strength of reflection alone, evaluated at the outside angle (cornea 1.376); 0 uses index"`
	Roughness        float64    `key:"roughness" range:"[0,1]" default:"0" source:"a tear film is optically smooth; common practice, no published source" doc:"roughness of the tear film over the cornea; GGX alpha is its square"`
	SmoothRefraction bool       `key:"smooth_refraction" default:"false" doc:"treat a rough cornea as smooth where light refracts, and rough only where it reflects (an approximation)"`
	Wobble           float64    `key:"wobble" acts:"built" range:"[0,0.1]" default:"0.012" source:"our own, by eye" doc:"RMS slope of the built cornea's relief, at most 0.01 times wobble_size"`
	WobbleSize       float64    `key:"wobble_size" acts:"built" unit:"mm" range:"[0.5,10]" default:"4" source:"our own, by eye" doc:"longest wavelength of the cornea's relief; the sclera's is half of it"`
	Clouding         float64    `key:"clouding" acts:"built" range:"[0,1]" default:"0" source:"neutral: changes nothing" doc:"how far the built cornea is clouded: a pale veil over the iris"`
	Normal           *NormalMap `key:"normal" doc:"normal map of the outer shell, on top of the relief"`
	Height           *HeightMap `key:"height" doc:"displacement of the outer shell"`
}

// Limbus blends cornea and sclera.
type Limbus struct {
	Radius float64  `key:"radius" unit:"mm" range:"[0.5,30]" built:"[2.5,14]" default:"5.85" source:"half of the visible iris, 11.8 mm in 200 people: Caroline and Andre, Contact Lens Spectrum, April 2002" doc:"distance of its middle from the optical axis"`
	Width  float64  `key:"width" unit:"mm" range:"[0.05,10]" built:"[0.4,2.5]" default:"0.9" source:"Consejo et al., J. Cataract Refract. Surg. 43 (2017), 1239, find up to 2 mm; within that by eye; from memory" doc:"width of the blend"`
	Reach  *float64 `key:"reach" unit:"mm" range:"[0,1]" doc:"how far the opaque white reaches in over the cornea above and below; 0.3 of it at the sides; without it 0.55 on an eye that is built here (Ruefer, Schroeder and Erb, Cornea 24 (2005), from memory), 0 on one from a file"`
}

// builtReach is how far the white of a built eye reaches in, mm: the cornea is nearly round, the visible iris 0.91 to 0.95 as tall as wide.
const builtReach = 0.55

// ReachOr is Reach, or what an eye has without it: one that is built here, or one from a file.
func (l *Limbus) ReachOr(built bool) float64 {
	switch {
	case l.Reach != nil:
		return *l.Reach
	case built:
		return builtReach
	}
	return 0
}

// Iris is the inner shell under the cornea.
type Iris struct {
	Depth         float64     `key:"depth" acts:"built" unit:"mm" range:"[1.5,7]" default:"3.6" source:"3.1 + 0.5 mm, anterior chamber and cornea of Gullstrand in Helmholtz, 3rd ed. 1909" doc:"how far its plane lies behind the corneal apex"`
	Relief        float64     `key:"relief" acts:"built" unit:"mm" range:"[0,0.3]" default:"0.2" source:"our own, by eye; thickness 0.37 mm: J. Ophthalmol. 2021:2653564" doc:"height between ridges and crypts of the built iris"`
	Pupil         float64     `key:"pupil" unit:"mm" range:"[0,20]" built:"[1.5,8]" default:"3.6" source:"Watson and Yellott, J. Vision 12(10):12 (2012): 3.8 to 4.4 mm seen at 5 to 10 cd/m^2, through a cornea that widens it 1.13 times" doc:"physical diameter of the pupil (of the circle of its area); tissue and maps of an eye from a file follow; 0, or no key, leaves such an eye its own"`
	PupilOffset   [2]float64  `key:"pupil_offset" acts:"built" unit:"mm" range:"[-0.6,0.6]" default:"[0.2, 0.05]" source:"half of the 0.5 mm nasal of Liou and Brennan, JOSA A 14 (1997), 1684" doc:"where the pupil's centre lies (x, y)"`
	PupilShape    string      `key:"pupil_shape" acts:"built" oneof:"round|slit|bar" default:"round" doc:"round, an upright slit, or a level bar (built iris)"`
	PupilAspect   float64     `key:"pupil_aspect" acts:"built" range:"[1,10]" default:"3" source:"our own, by eye" doc:"length over width of a slit or bar; pupil is its length"`
	Pigment       float64     `key:"pigment" acts:"built" range:"[0,4]" default:"1" source:"neutral: changes nothing" doc:"multiplies the pigment of the built pattern: less turns a brown iris green, grey or blue"`
	Tint          colour.RGB  `key:"tint" acts:"built" range:"[0,3]" default:"[1, 1, 1]" source:"neutral: changes nothing" doc:"multiplies what the built stroma scatters: free colours for creatures and stylised eyes"`
	Arcus         float64     `key:"arcus" acts:"built" range:"[0,1]" default:"0" source:"neutral: changes nothing" doc:"pale arc within the rim of the built iris, as age brings"`
	Collarette    eye.Zone    `key:"collarette" acts:"built" doc:"how the iris within its collarette departs from the pattern"`
	Ciliary       eye.Zone    `key:"ciliary" acts:"built" doc:"the same between collarette and margin"`
	Margin        eye.Zone    `key:"margin" acts:"built" doc:"the same in the outermost millimetre"`
	Sector        *Sector     `key:"sector" acts:"built" doc:"wedge of the built iris in a second pattern"`
	Pattern       string      `key:"pattern" acts:"built|borrowed" oneof:"hazel|grey-blue|brown|green|amber" default:"hazel" doc:"pattern of the built iris"`
	Colour        MapSpec     `key:"colour" range:"[0,1]" doc:"colour of bare tissue, or with painted: seen as it shows through the cornea; without it the built pattern"`
	Normal        *NormalMap  `key:"normal" doc:"normal map of the inner shell"`
	Height        *HeightMap  `key:"height" doc:"displacement of the inner shell"`
	ScatterRadius colour.RGB  `key:"scatter_radius" unit:"mm" range:"[0.001,100]" default:"[0.03, 0.025, 0.02]" source:"common practice, no published source: fibres 0.03 mm wide are told apart in photographs" doc:"radius within which half of the re-emitted light leaves, per channel"`
	SigmaA        *colour.RGB `key:"sigma_a" unit:"1/mm" range:"[0,1e6]" doc:"absorption coefficient of the tissue, with sigma_s; instead of colour and scatter_radius"`
	SigmaS        *colour.RGB `key:"sigma_s" unit:"1/mm" range:"[0,1e6]" doc:"reduced scattering coefficient of the tissue, with sigma_a"`
	Scattering    bool        `key:"scattering" default:"true" doc:"off makes the iris plain diffuse"`
	PupilClosed   bool        `key:"pupil_closed" default:"false" doc:"cover the pupil with tissue of the same kind (for energy checks)"`
}

// Sector is a wedge of the iris with a pattern of its own.
type Sector struct {
	Pattern string  `key:"pattern" oneof:"hazel|grey-blue|brown|green|amber" default:"brown" doc:"its pattern"`
	Angle   float64 `key:"angle" unit:"degrees" range:"[-360,360]" default:"-60" source:"our own choice" doc:"its middle, counter-clockwise from +X as seen from the front"`
	Width   float64 `key:"width" unit:"degrees" range:"[1,360]" default:"70" source:"our own, by eye" doc:"how wide it is"`
}

// Sclera is the inner shell under the tear film.
type Sclera struct {
	Colour        MapSpec     `key:"colour" range:"[0,1]" doc:"colour as seen under diffuse light; without it the built map"`
	Tint          colour.RGB  `key:"tint" range:"[0,2]" default:"[1, 1, 1]" source:"neutral: changes nothing" doc:"multiplies the colour of the inner shell outside the iris"`
	BaseColour    colour.RGB  `key:"base_colour" acts:"built" range:"[0.02,0.95]" default:"[0.70, 0.64, 0.60]" source:"our own, by eye" doc:"colour of the built sclera before it is mottled"`
	Veins         float64     `key:"veins" acts:"built|borrowed" range:"[0,3]" default:"1" source:"neutral: changes nothing" doc:"strength of the built veins: 1 rested, 2 tired, 3 bloodshot"`
	Redness       float64     `key:"redness" acts:"built" range:"[0,1]" default:"0.5" source:"our own, by eye" doc:"how much the built sclera reddens toward rim and corners"`
	Mottling      float64     `key:"mottling" acts:"built" range:"[0,2]" default:"1" source:"neutral: changes nothing" doc:"how uneven the built sclera is"`
	Roughness     float64     `key:"roughness" range:"[0,1]" default:"0.03" source:"a tear film is optically smooth; common practice, no published source" doc:"roughness of the tear film over the sclera; GGX alpha is its square"`
	Bumps         float64     `key:"bumps" acts:"built" range:"[0,0.15]" default:"0.006" source:"our own, by eye: the skin itself has 0.04 to 0.07 (common practice, no published source), the film fills most of it; at 0.05 three readers took the glint for glitter, at 0.015 five for chalk" doc:"RMS slope of the bumps of the wet skin over the built sclera, 0.1 to 0.4 mm wide, that break what it mirrors"`
	Wobble        float64     `key:"wobble" acts:"built" range:"[0,0.1]" default:"0.02" source:"our own, by eye" doc:"RMS slope of the built sclera's relief, at most 0.01 times the cornea's wobble_size"`
	ToneDown      float64     `key:"tone_down" acts:"built" range:"[0,1]" default:"0" source:"neutral: changes nothing" doc:"tones vessels and mottling down, for an eye that many faces share"`
	ScatterRadius colour.RGB  `key:"scatter_radius" unit:"mm" range:"[0.001,100]" default:"[0.32, 0.265, 0.19]" source:"our own computation from reduced coefficients of 4.0, 4.85, 6.7 and 0.031, 0.052, 0.12 per mm gives 0.35, 0.28, 0.19 mm; an order of magnitude: fibrous tissue of Jacques, Phys. Med. Biol. 58 (2013), R37, and Vogel et al., Lasers Surg. Med. 11 (1991), 331; both from memory" doc:"radius within which half of the re-emitted light leaves, per channel"`
	SigmaA        *colour.RGB `key:"sigma_a" unit:"1/mm" range:"[0,1e6]" doc:"absorption coefficient of the tissue, with sigma_s; instead of colour, tint and scatter_radius"`
	SigmaS        *colour.RGB `key:"sigma_s" unit:"1/mm" range:"[0,1e6]" doc:"reduced scattering coefficient of the tissue, with sigma_a"`
	Scattering    bool        `key:"scattering" default:"true" doc:"off makes the sclera plain diffuse"`
}
