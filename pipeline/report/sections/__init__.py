"""The parts of the material characterisation sheet, in the order in which a customer reads them."""
