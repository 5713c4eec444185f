import steadyturn_fw.main

steadyturn_fw.main.run()
