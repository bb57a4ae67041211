"""Pictures: colours, drawings to scale and charts, the same for pages and paper. No store, no file, no clock."""
