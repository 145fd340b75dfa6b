SELECT * FROM account ORDER BY name
