"""Arrays in, arrays out: layered slabs in stirred tanks. numpy only; never heard of paper."""
