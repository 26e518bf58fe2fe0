"""Which small station do the tests bring? A whole one, as its tables."""

from __future__ import annotations

from datetime import UTC, date, datetime

from firstsilk.work.occasion import Occasion

SMALL_STATION = {
    "station.csv": "station,name,latitude,time_zone,scale\nesker,Eskerholm Growers' Cooperative,50.4,Etc/UTC,chu\n",
    "sites.csv": (
        "site,name,latitude,longitude,elevation_m,home\nhome,Eskerholm home fields,50.4,-1.2,240,1\n"
        "tarn,Tarn End,50.9,-1.6,310,0\n"
    ),
    "weather.csv": (
        "site,date,tmin_c,tmax_c,rain_mm\nhome,2031-05-12,4.1,15.2,0\nhome,2031-05-13,5.0,16.4,2.5\n"
        "home,2031-05-14,6.2,18.8,\ntarn,2031-05-12,2.9,13.7,0.4\n"
    ),
    "lines.csv": (
        "line,kind,stands_for,method,mother,father,selfings,generation,group,tester,check,units_to_silk,units_to_shed\n"
        "E1,line,family,founder_inbred,,,,S7,North,0,0,1290,1265\n"
        "E2,line,family,founder_inbred,,,,S7,South,1,0,1330,1300\n"
        "E1/E2,hybrid,bulk,cross,E1,E2,,F1,,0,1,1240,1220\n"
        "E3-1,line,family,self,E1/E2,,1,S1,,0,0,1300,1280\n"
        "E3-1-4,line,family,self,E3-1,,1,S2,,0,0,1310,1285\n"
    ),
    "lots.csv": (
        "lot,line,kind,origin,origin_text,year,kernels,germination,germination_tested_on,germination_seeds\n"
        "E1-30,E1,bulk,rows,rows of 2030,2030,1200,0.94,2031-02-10,400\n"
        "E2-30,E2,bulk,rows,rows of 2030,2030,900,0.9,2031-02-10,400\n"
        "E3-30,E3-1-4,ears,ears,,2030,150,,,\n"
    ),
    "rows.csv": (
        "season,row,field_row,field_col,line,lot,purpose,kernels,sown,stand,silk,shed,ears,kernels_shelled\n"
        "2031,1,1,1,E1,E1-30,female,25,2031-05-12,21,2031-07-26,2031-07-24,14,2900\n"
        "2031,2,2,1,E2,E2-30,male,25,2031-05-12,23,,,,\n"
        "2031,3,3,1,E3-1-4,E3-30,self,25,,,,,,\n"
    ),
    "plots.csv": (
        "trial,series,site,year,plot,rep,block,field_row,field_col,entry,check,plot_area_m2,weight_kg,moisture_pct,stand\n"
        "FIRST-30,FIRST,tarn,2030,101,1,1,1,1,E1/E2,1,7.6,7.12,24.1,62\n"
        "FIRST-30,FIRST,tarn,2030,102,1,1,1,2,E3-1-4,0,7.6,3.4,22.0,60\n"
        "FIRST-30,FIRST,tarn,2030,201,2,1,2,1,E3-1-4,0,7.6,3.1,21.6,58\n"
        "FIRST-30,FIRST,tarn,2030,202,2,1,2,2,E1/E2,1,7.6,6.9,25.0,61\n"
    ),
}
"""A whole small station as its tables; tests alter a copy."""

NEW_OCCASION = Occasion("", date(2031, 10, 1), datetime(2031, 10, 1, 9, 0, tzinfo=UTC), "tests")
