// What plain forms cannot do stands here.
