"""An example of each kind's tally, in one invented vineyard: the guide prints them, a test loads them all."""

# ruff: noqa: E501 - the headings of a tally are one line

_RANDOM = "block,date,chosen,counted_by"

EXAMPLES: dict[str, str] = {
    "vineyard": "name,hemisphere,place,units,grower\nFirst Light,north,Quiet valley,metric,R. Quill\n",
    "block": "vineyard,code,name,row_direction [°],surveyed_area [ha],from_season\n"
    "First Light,A1,Gate Field,20,0.33,2012\nFirst Light,A0,Old Gate,20,,1990\n",
    "predecessor": "block,predecessor,how\nA1,A0,renaming\n",
    "row": "block,from_season,first_row,last_row,positions,numbered_from,vines_per_panel\nA1,2012,1,20,60,gate end,5\n",
    "planting": "block,from_season,cultivar,clone,rootstock,year_planted,row_spacing [m],vine_spacing [m],positions\n"
    "A1,2012,Gamay,,3309,2009,2.2,1.2,1200\n",
    "vine_census": "block,date,bearing,young,missing,counted_by\nA1,2024-02-10,1142,22,36,RQ\n",
    "training": "block,from_season,trained,arms,curtains,shoot_position,cordon_length [m],wire_height [m],pruned\n"
    "A1,2012,cordon,2,1,up,1.1,0.9,spur\n",
    "target_band": "block,figure,low,high,from_season,source\nA1,yield_to_prunings,5,8,2020,agreed with the cellar\n",
    "certification": "block,scheme,status,certificate,valid_from,valid_to\n"
    "A1,Green Leaf,in_conversion,GL-118,2022-05-01,2025-04-30\n",
    "consignee": "name,address,register_numbers\nBell Lane Cellar,2 Bell Lane,R-77\n",
    "silence": "block,rule,reason\nA1,same_vines_each_year,the marked vines are a choice\n",
    "draw": "block,season,name,figure,chosen,seed,vines,positions,within [%],half_width [%],cv [%],cv_from,drawn_on,drawn_by\n"
    "A1,2024,1,clusters_per_vine,random,4711,2,1200,,360,40,no sample of this block yet,2024-06-28,RQ\n",
    "drawn_vine": "block,season,name,number,row,vine\nA1,2024,1,1,3,41\nA1,2024,1,2,9,12\n",
    "bud_sample": "block,date,chosen,counted_by,cane,first_position,last_position,buds,primaries_dead,secondaries_alive\n"
    "A1,2024-01-15,random,RQ,1,1,10,10,2,1\nA1,2024-01-15,random,RQ,2,1,10,10,3,2\n",
    "decision": "block,season,number,decided_on,decides,value,words,reason,decided_by,expected_figure,expected_low,"
    "expected_high,review_on\n"
    "A1,2024,1,2024-01-18,nodes_to_keep,16,16 nodes on 8 spurs,wood was small after the dry year,RQ,"
    "yield_to_prunings,5,8,2025-02-01\n",
    "pruning_visit": "block,started_on,finished_on,pruned,nodes_to_keep,tolerance,nodes_per_spur,wood_weighed,crew\n"
    "A1,2024-01-22,2024-01-26,spur,16,2,2,yes,3\n",
    "pruned_vine": f"{_RANDOM},row,vine,state,spurs,nodes_on_spurs,canes_weighed,prunings [kg]\n"
    "A1,2024-01-24,random,RQ,3,41,bearing,8,16,17,0.62\nA1,2024-01-24,random,RQ,9,12,missing,,,,\n",
    "bearer": f"{_RANDOM},row,vine,bearer_number,bearer,arm,distance [cm],nodes,count_shoots,double_shoots,noncount_shoots\n"
    "A1,2024-05-14,random,RQ,3,41,1,spur,1,9,2,2,0,1\nA1,2024-05-14,random,RQ,3,41,2,spur,1,21,2,1,1,0\n"
    "A1,2024-05-14,random,RQ,3,41,3,end_of_arm,1,55,,,,\n",
    "growth_stage": "block,date,scale,code,share [%]\nA1,2024-04-12,BBCH,09,50\nA1,2024-06-10,BBCH,65,80\n",
    "canopy_work": "block,work,started_on,finished_on,side,extent,done_by,crew\n"
    "A1,cluster_zone_leaf_removal,2024-06-20,2024-06-21,east,3 leaves a shoot,hand,3\n",
    "shoot_tally": f"{_RANDOM},row,vine,state,count_shoots,double_shoots,noncount_shoots,blind_nodes\n"
    "A1,2024-05-14,random,RQ,3,41,bearing,15,1,2,1\nA1,2024-05-14,random,RQ,9,12,missing,,,,\n",
    "node_tally": f"{_RANDOM},row,vine,bearer,bearer_number,position,shoots,clusters\n"
    "A1,2024-05-14,random,RQ,3,41,spur,1,0,1,0\nA1,2024-05-14,random,RQ,3,41,spur,1,1,1,2\n"
    "A1,2024-05-14,random,RQ,3,41,spur,1,2,2,2+1\nA1,2024-05-14,random,RQ,3,41,head_spur,2,old wood,0,\n",
    "cluster_tally": f"{_RANDOM},row,vine,state,clusters\nA1,2024-07-02,random,RQ,3,41,bearing,27\n"
    "A1,2024-07-02,random,RQ,9,12,missing,\n",
    "cluster_lot": f"{_RANDOM},stage,lot,clusters,mass [kg],berries,berry_mass [g],days_after_bloom\n"
    "A1,2024-09-20,random,RQ,harvest,1,24,2.81,100,131,\nA1,2024-08-05,random,RQ,lag_phase,1,25,1.42,,,55\n",
    "canopy_probe": f"{_RANDOM},transect,probe,side,height [m],contacts\n"
    "A1,2024-08-12,random,RQ,1,1,east,1.0,LLC\nA1,2024-08-12,random,RQ,1,2,east,1.0,\n"
    "A1,2024-08-12,random,RQ,1,3,east,1.0,LCSL\n",
    "leaf_area": f"{_RANDOM},row,vine,leaf_area [m2],method\nA1,2024-08-12,random,RQ,3,41,3.4,leaf length and width\n",
    "maturity_sample": "block,date,number,sampled,berries,berry_mass [g],soluble_solids [°Brix],ph,titratable_acidity [g/L]\n"
    "A1,2024-09-12,1,berries,200,262,20.4,3.18,8.1\n",
    "crop_estimate": "block,date,given_to,stage,method,estimate [t],low [t],high [t],level,inputs\n"
    "A1,2024-08-06,Bell Lane Cellar,lag_phase,clusters × lag-phase weight × 2,3.4,2.9,4.0,80,20 vines and 8 lots\n",
    "vine_harvest": f"{_RANDOM},row,vine,clusters,mass [kg]\nA1,2024-09-22,random,RQ,3,41,26,3.05\n",
    "load": "date,issuer,number,basis,gross [kg],tare [kg],net [kg],scale_interval [kg],consignee,soluble_solids [°Brix],ph\n"
    "2024-09-23,Bell Lane scale,118,gross_and_tare,3450,1480,1970,10,Bell Lane Cellar,22.1,3.31\n",
    "load_part": "issuer,season,number,block,pick,picked,purpose\nBell Lane scale,2024,118,A1,1,hand,still\n",
    "harvest_close": "block,finished_on,fruit_left [kg],fruit_left_by,reason\nA1,2024-09-24,60,weighed,botrytis by the ditch\n",
    "event": "block,date,what,share_hit [%],words\nA1,2024-06-18,hail,10,short shower\n",
}
"""The text of a tally by kind."""
