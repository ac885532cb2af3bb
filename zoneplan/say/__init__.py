"""Words: notices, reasons and figures told to a reader in a unit system."""
