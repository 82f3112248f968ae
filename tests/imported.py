"""What programs of the tests would import, for the process that they are copied from."""

import gc

from sensory.screens import opened

opened.DRAWN.set()
opened.import_the_rest()
opened.DRAWN.clear()
gc.collect()
gc.freeze()  # each copy would else seek garbage in all of it, and so copy all of it
