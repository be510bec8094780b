"""SWR seen through a line: the antenna behind it, and whether its curve is too flat to be true."""
