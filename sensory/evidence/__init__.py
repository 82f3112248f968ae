"""Several sessions together: causes of deviations."""
