"""The guitar: from a maker's build sheet to a mesh; the only place that knows what a rim is."""
