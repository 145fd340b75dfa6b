SELECT * FROM token ORDER BY name
