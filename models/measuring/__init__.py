"""From recordings and readings back to the values of parts."""
