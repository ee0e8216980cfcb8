package main

// proofName is the page of the proof.
const proofName = "proof.png"
