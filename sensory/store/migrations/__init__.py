"""Steps from one version of the record to the next, run by `sensory.store.versions`."""
