"""What programs of the tests would import, for the process that they are copied from."""

from sensory.screens import opened

opened.DRAWN.set()
opened.import_the_rest()
opened.DRAWN.clear()
