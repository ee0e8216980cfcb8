// Package job keeps the manifest of work on many pictures, so that it can be stopped at any moment and taken up again.
//
// A job owns a folder. Its manifest lists the pictures planned, each with a key that hashes all that its files depend on,
// and the files of those that are finished with their own hashes. A file gets its name only once it is whole; the manifest
// follows after it. So whatever moment the work ends at, what the manifest calls finished is finished, and the rest is done
// again. The manifest holds no times: an interrupted job ends with the bytes of one that ran through.
package job
