"""Known-answer sounds, invented probes and credited clips: data only; ``sibilant.reference_sounds()`` finds them."""
