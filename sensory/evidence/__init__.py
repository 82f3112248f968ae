"""Several sessions together: causes of deviations, one axis of d-prime."""
