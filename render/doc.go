// Package render makes a picture of a scene, from the description to files. It is the one door for programs: below it stand
// prepare (which freezes a scene), pathtrace and raster (which draw it), film (which sums up) and view (which shows).
//
//	Description --Prepare--> Prepared (frozen scene) --Render or Raster--> Result (film) --Write--> files
//
// The main types:
//
//	Prepared   a scene ready to render, and what can be asked of it: Render traces it, Raster draws it in real-time style,
//	           Probe says what one pixel shows, Regions which pixels are iris, limbus, sclera or catchlight, Marks
//	           where limbus, pupil and axis lie, CameraFrom where the camera of a photo stood
//	Options    how to work: workers, progress, Cache, Keep, Shard; they never change the picture
//	Result     a picture, whole or partial, with Stats and the error that was Achieved; Write makes files of any of Formats
//	Cache      keeps what a changed scene leaves as it was, for many pictures of like scenes
//	Keep       saves the film as it goes, so that a render goes on to the same bits after a pause or a crash
//	Shard      a part of the samples, for one of several machines; Joined makes one Result of the merged film
//	Identity   what a picture's bits depend on: scene, program, processor, kernel; films that differ in it do not merge,
//	           and Record says which keys of the scene are the difference
//	Crop       a description that shows only a Window of the picture, finer or coarser
//	Gathering  a plan to put a scene and all its files into one folder
//
// After Prepare nothing writes to the scene, so any number of workers share it. The same scene, seed and samples per pixel
// give the same bits, whatever the number of workers, the shards, or how often the work was stopped.
//
// Pictures run row by row from the top left. Linear ones hold radiance in W/(m^2 sr), linear Rec. 709, multiplied by
// coverage; of an irradiance plate they hold W/m^2. Lengths are in mm, with +Y up.
package render
