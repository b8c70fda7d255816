"""The nursery's desk: stock names read, stand-ins for a sold-out variety, back orders filled."""
